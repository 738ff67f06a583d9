"""The texts told to people while they work: one file per language, and the code that fills them."""
