"""Proof that a journal was not altered: its seals, signatures and witnesses."""
