"""The wiring: joins sound, speech, session, journal and voice into one working station."""
