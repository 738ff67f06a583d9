"""The daemon: one survey at work without a terminal, and the local socket it is asked through."""
