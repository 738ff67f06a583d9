"""What keeps a station going: faults, starts after crashes, and seals."""
