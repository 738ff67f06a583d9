"""Tables of others, and our own forms, read in."""
