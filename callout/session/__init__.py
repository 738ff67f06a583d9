"""The session: a pure state machine from callouts to saved readings."""
