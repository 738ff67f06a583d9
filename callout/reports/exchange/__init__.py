"""The readings in open forms that others read, and tables of others read in.

Each form writes the two frames of ``reports.stand.columns`` and reads them back; none computes.
"""
