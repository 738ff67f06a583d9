"""The screens: the station itself, the safety line at the start, and the help."""
