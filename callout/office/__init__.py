"""The office's orders: rulings, and removal of sound."""
