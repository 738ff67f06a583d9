"""Every word told to people while they work: a file a language, and what puts figures into it."""
