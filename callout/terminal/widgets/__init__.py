"""The parts of the main screen, one file per visible thing."""
