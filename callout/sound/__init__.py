"""The edges of sound: files, microphone, endpointing, voice and speaker.

Everything inside is 16 kHz mono int16. No speech recognition, no session rules and no journal
belong here; this package imports nothing of ours but `callout.core`.
"""
