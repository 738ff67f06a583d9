"""The survey folder on disk: settings, roster, append-only journal, and sound."""
