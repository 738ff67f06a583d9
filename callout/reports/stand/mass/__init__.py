"""Mass and carbon, and their uncertainty."""
