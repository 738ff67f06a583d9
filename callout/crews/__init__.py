"""Several recorders on one site: their journals united, and sent to an office's database.

Reads and copies journals; nothing is heard, measured or computed here.
"""
