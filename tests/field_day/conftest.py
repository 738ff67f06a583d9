"""Lets these tests use the station and the simulated tape of other tests."""

import sys
from pathlib import Path

for folder in ("station", "devices"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))
