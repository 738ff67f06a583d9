"""The terminal app: shows a station's `Face` at arm's length and takes keys and typed callouts.

No parsing, no SQL and no session rules belong here; everything known comes from the `Face`.
"""
