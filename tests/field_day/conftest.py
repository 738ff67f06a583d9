"""Lets these tests use the station of the station's tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "station"))
