"""Callout: the second person for somebody whose hands are around a tree."""

__version__ = "0.2.0.dev0"
