"""Lets the station's tests use the small disks and surveys of the journal's tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "journal"))
