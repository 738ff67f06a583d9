"""Lets the crews' tests use the surveys and stations of the other tests."""

import sys
from pathlib import Path

for folder in ("journal", "station"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))
