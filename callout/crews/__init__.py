"""Several recorders on one site: their journals are united, and sent to an office's database.

Reads and copies journals; nothing is heard, measured or computed here.
"""
