"""The daemon: one survey at work without a terminal, and its local control socket."""
