"""The parts of the main screen, one file for each thing that is seen on it."""
