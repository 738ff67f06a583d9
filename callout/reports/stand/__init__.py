"""What the readings say about the stand: pure computations on data frames.

Frames in, frames out, vectorised; no files, no clock, no journal here.
"""
