"""A folder is made whole or not at all; what a killed builder left goes, a living one's stays."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from journal_tools import names, survey

from callout.core.errors import OperatorError, StorageError
from callout.survey.files import clear_abandoned, new_folder

BUILDER = """
import signal, sys, time
from pathlib import Path
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background run ignores it
from callout.survey.files import new_folder
with new_folder(Path(sys.argv[1])) as building:
    (building / "half").write_text("half")
    print("building", flush=True)
    time.sleep(600)
"""


def builder(path: Path) -> subprocess.Popen[str]:
    """Another process that is in the midst of building ``path``."""
    child = subprocess.Popen(
        [sys.executable, "-c", BUILDER, str(path)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None and child.stdout.readline() == "building\n"
    return child


def ended(child: subprocess.Popen[str], how: int) -> None:
    os.kill(child.pid, how)
    child.wait(60)
    assert child.stdout is not None
    child.stdout.close()


def test_it_appears_whole_and_leaves_nothing_beside(tmp_path: Path) -> None:
    with new_folder(tmp_path / "fen") as building:
        (building / "file").write_text("whole")
        assert not (tmp_path / "fen").exists()
    assert names(tmp_path) == ["fen"]
    assert names(tmp_path / "fen") == ["file"], "the builder's mark is gone"


def test_a_failure_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="cannot make"), new_folder(tmp_path / "fen"):
        raise OSError(28, "No space left on device")
    assert names(tmp_path) == []


def test_what_is_there_or_has_no_parent_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OperatorError, match="exists already"), new_folder(tmp_path):
        pass
    with pytest.raises(OperatorError, match="make it first"), new_folder(tmp_path / "a" / "b"):
        pass


def test_a_killed_builders_folder_goes_at_the_next_making(tmp_path: Path) -> None:
    ended(builder(tmp_path / "fen"), signal.SIGKILL)
    assert len(names(tmp_path)) == 1
    survey(tmp_path / "other")
    assert names(tmp_path) == ["other"]


def test_a_living_builders_folder_and_a_persons_own_stay(tmp_path: Path) -> None:
    for own in (".building-mine", ".fen-abcdefgh"):
        (tmp_path / own).mkdir()
        (tmp_path / own / "journal.db").write_text("a person's own")
    child = builder(tmp_path / "fen")
    before = names(tmp_path)
    assert clear_abandoned(tmp_path) == 0
    assert names(tmp_path) == before
    ended(child, signal.SIGINT)
    assert names(tmp_path) == [".building-mine", ".fen-abcdefgh"], "an interrupt cleans up"
