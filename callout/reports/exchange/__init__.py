"""Exports of the readings in open formats, and imports of tables.

Each format writes the two frames of ``reports.stand.columns`` and reads them back; none computes.
"""
