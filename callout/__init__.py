"""Callout: the second person for somebody whose hands are around a tree."""

__version__ = "0.1.0"
