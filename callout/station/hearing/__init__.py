"""The ears of a station: microphone, utterances, and the recogniser in its own process."""
