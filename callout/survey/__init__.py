"""The survey's folder as people write it: settings, roster and tables, read and checked."""
