"""Imports: other people's tables, and our own formats."""
