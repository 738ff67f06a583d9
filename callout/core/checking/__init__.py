"""Checks that flag an odd reading; none of them ever changes or chooses a value."""
