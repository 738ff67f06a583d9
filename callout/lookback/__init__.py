"""Looking back: moments of a survey found again, heard again, and held against each other."""
