"""Looking back: finds, re-hears and compares moments of a survey."""
