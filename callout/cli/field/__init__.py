"""Commands of the working day in the woods."""
