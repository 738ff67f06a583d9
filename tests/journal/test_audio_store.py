"""The sound store: named by content, written once, missing or altered sound found out."""

from __future__ import annotations

import hashlib
import stat
from pathlib import Path

import pytest

from callout.core.errors import OperatorError, StorageError
from callout.journal.audio import AudioStore

SOUND = b"fLaC" + bytes(range(256)) * 8


def test_kept_sound_is_named_by_its_sha256_and_read_back(tmp_path: Path) -> None:
    store = AudioStore(tmp_path)
    name = store.keep(SOUND)
    assert name == hashlib.sha256(SOUND).hexdigest()
    path = tmp_path / f"{name}.flac"
    assert store.path(name) == path
    assert path.read_bytes() == store.read(name) == SOUND
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert store.keep(SOUND) == name
    assert [item.name for item in tmp_path.iterdir()] == [path.name], "no half-made file is left"


def test_missing_and_altered_sound_is_found(tmp_path: Path) -> None:
    store = AudioStore(tmp_path)
    name = store.keep(SOUND)
    store.path(name).write_bytes(SOUND[:-1])
    with pytest.raises(StorageError, match="was altered"):
        store.read(name)
    store.path(name).unlink()
    with pytest.raises(StorageError, match="is missing"):
        store.read(name)


def test_keeping_again_mends_an_altered_file(tmp_path: Path) -> None:
    store = AudioStore(tmp_path)
    name = store.keep(SOUND)
    store.path(name).write_bytes(b"")
    assert store.keep(SOUND) == name
    assert store.read(name) == SOUND


@pytest.mark.parametrize("name", ["", "../" * 20 + "etc/passwd", "A" * 64, "g" * 64, "a" * 63])
def test_what_is_no_hash_never_becomes_a_path(tmp_path: Path, name: str) -> None:
    with pytest.raises(OperatorError, match="not the SHA-256"):
        AudioStore(tmp_path).path(name)


def test_a_folder_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="cannot write"):
        AudioStore(tmp_path / "gone").keep(SOUND)
