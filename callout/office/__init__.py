"""What the office orders: rulings, and sound removed."""
