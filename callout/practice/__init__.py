"""Practice and demonstration on invented plots."""
