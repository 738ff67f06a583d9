"""Looking at moments: outline, words in time, every engine, what cannot be heard.

The sound is the demo's walk; word times are held against where its sound is loud, and the CTC
alignment against every alignment there is.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.lookback.replay import Moment, Wanted, chosen, moments
from callout.lookback.viewing import OUTLINE, Viewer, outline
from callout.proof.verify import take_snapshot
from callout.sound.sound_files import decode_flac
from callout.speech.timed import aligned


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> SurveyFolder:
    path = tmp_path_factory.mktemp("viewing") / "fen"
    assert main(["demo", "--into", str(path)]) == 0
    return SurveyFolder(path)


def wanted(folder: SurveyFolder, tree: str = "83") -> list[Moment]:
    return list(chosen(moments(take_snapshot(folder.database).entries), Wanted(tree=tree)))


@pytest.fixture
def viewer(folder: SurveyFolder) -> Iterator[Viewer]:
    made = Viewer(folder, wanted(folder), "pocketsphinx")
    yield made
    made.close()


def test_words_lie_in_order_where_the_sound_is_loud(folder: SurveyFolder, viewer: Viewer) -> None:
    look = viewer.look(0)
    (hearing,) = look.hearings
    assert [item.word for item in hearing.words] == (
        ["tree", "eighty", "three", "twenty", "four", "point", "six"]
    )
    samples = decode_flac(folder.audio.read(str(wanted(folder)[0].heard.audio)))
    assert look.seconds == len(samples) / 16_000
    times = [(item.start_s, item.end_s) for item in hearing.words]
    assert all(0 <= a < b <= look.seconds for a, b in times)
    assert all(before[1] <= after[0] + 0.02 for before, after in itertools.pairwise(times))
    inside = np.concatenate([samples[int(a * 16_000) : int(b * 16_000)] for a, b in times])
    loud = np.abs(inside.astype(int)).mean() * len(inside)
    assert loud > 0.9 * np.abs(samples.astype(int)).sum(), "nearly all sound is in a word"
    assert all(0 <= item.confidence <= 1 for item in hearing.words)


def test_every_engine_is_set_side_by_side_and_one_that_is_not_there_says_why(
    viewer: Viewer, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("CALLOUT_VOSK_MODEL", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    found = {item.engine: item for item in viewer.look(0, every_engine=True).hearings}
    assert set(found) == {"pocketsphinx", "closed", "vosk"}
    assert "no Vosk model" in found["vosk"].fault
    closed = found["closed"]
    assert closed.told == found["pocketsphinx"].told == "reading tag 83 value 24.6"
    strict = {item.word: item for item in found["pocketsphinx"].words}
    for item in closed.words:
        if item.word in strict:
            assert strict[item.word].start_s - 0.15 < item.start_s < strict[item.word].end_s + 0.15


def test_outline_is_as_long_as_told_and_reaches_one() -> None:
    shape = outline(np.arange(16_000, dtype=np.int16))
    assert (len(shape), shape[-1]) == (OUTLINE, 1.0)
    assert list(shape) == sorted(shape)
    assert outline(np.zeros(0, dtype=np.int16)) == ()
    assert max(outline(np.full(5, -32768, dtype=np.int16))) == 1.0


def test_a_moment_without_sound_says_why(tmp_path: Path, folder: SurveyFolder) -> None:
    import shutil

    copy = SurveyFolder(Path(shutil.copytree(folder.path, tmp_path / "copy")))
    order = ("--reason", "asked to", "--who", "Office", "--yes")
    assert main(["erase", str(copy.path), "--person", "R.V.", *order]) == 0
    viewer = Viewer(copy, wanted(copy), "pocketsphinx")
    assert "removed by order" in viewer.look(0).fault
    assert "removed by order" in viewer.play(0)
    viewer.close()


def every_path(log_probs: np.ndarray, labels: list[int]) -> list[tuple[float, tuple[int, ...]]]:
    """Every frame labelling that collapses to ``labels`` (Graves et al. 2006, section 3.1)."""
    found = []
    for path in itertools.product(range(log_probs.shape[1]), repeat=len(log_probs)):
        said = [at for at, _ in itertools.groupby(path) if at]
        if said == labels:
            found.append((sum(log_probs[n, at] for n, at in enumerate(path)), path))
    return found


@pytest.mark.parametrize("labels", [[1], [1, 2], [1, 1], [2, 1, 2]])
@pytest.mark.parametrize("seed", range(5))
def test_alignment_is_the_best_of_all_there_are(labels: list[int], seed: int) -> None:
    raw = np.random.default_rng(seed).normal(size=(6, 3)).astype(np.float32)
    log_probs = raw - np.log(np.exp(raw).sum(axis=1, keepdims=True))
    _, best = max(every_path(log_probs, labels))
    spans = aligned(log_probs, labels)
    marked = [0] * 6
    for (start, end, sure), label in zip(spans, labels, strict=True):
        marked[start:end] = [label] * (end - start)
        assert 0 < sure <= 1
    assert tuple(marked) == best
    assert aligned(log_probs[:1], [1, 2]) == [], "more words than frames"
