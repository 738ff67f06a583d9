"""Tuning the recogniser to one measurer's voice."""
