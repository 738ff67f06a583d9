"""The voice of a station: what is said next, and when."""
