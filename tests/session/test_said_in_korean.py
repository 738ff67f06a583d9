"""What is called back in Korean: all of the session, each figure in it.

Dialogues are made up at random in an invented plot. That the Korean is good was judged by nobody.
"""

from __future__ import annotations

import random
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import in_english
import pytest
from session_tools import Talk, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard, Say
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings
from callout.core.saying import Says, as_is, saying
from callout.core.told import span_told
from callout.core.units import Unit
from callout.grammar.parser import parse_words
from callout.grammar.scope import Scope
from callout.session.state import Survey
from callout.station.data import load_language
from callout.wording.language_files import load_wording

KOREAN = load_language("ko")
BOOK = load_wording("ko")
FIGURES = re.compile(r"[0-9]+(?:\.[0-9]+)*")
# Names of plots and species are the survey's own; "banana" is what somebody typed.
NAMES = re.compile(r"\b(K1|K2|beech|red oak|banana)\b")
TREES = (
    tree("7", "12.0"), tree("40", "60.0", status="dead standing"),
    tree("83", "24.0", height_m="1.5"), tree("84"), tree("150", "63.0"),
    tree("115", "16.0", breast_height_m="1.37"),
    *(tree(str(tag), "20") for tag in range(200, 207)),
)  # fmt: skip
SIZES = tuple(
    Decimal(tenths) / 10 for tenths in (246, 121, 160, 615, 61, 754, 2460, 3, 3000, 426, 631)
)
COMMANDS = (
    "confirm", "confirm", "accept", "accept", "reject", "scratch", "undo", "skip", "repeat", "left",
    "where", "note", "complete", "well",
)  # fmt: skip
MEANT = [
    saying("meant", tree=saying("tree", tag=tag), stem="", status="",
           size=saying("meant-diameter", value=Decimal(size)))
    for tag, size in (("83", "24.6"), ("832", "4.6"))
]  # fmt: skip
PROBLEMS = (
    saying("could-be", meanings=(MEANT[0], saying("or-meaning", meaning=MEANT[1]))),
    saying("no-callout", words="'banana'"),
    None,
)


def plots(chance: random.Random) -> Survey:
    standing = PlotSettings("K2", paint_line=chance.choice([True, False]))
    trees = {item.tag: item for item in (TREES if chance.random() < 0.7 else TREES[:3])}
    rules = Rules(
        blind=chance.random() < 0.2,
        accept_word=chance.random() < 0.7,
        largest_cm={"beech": Decimal(50)},
    )
    return Survey(
        {"K2": Plot(standing, trees), "K1": Plot(PlotSettings("K1"), {})},
        {"K2": rules, "K1": rules},
    )


def meanings(chance: random.Random) -> tuple[Meaning, ...]:
    """One thing that may be called, readings mostly; none where nothing was understood."""
    tag, size = (
        chance.choice(["7", "40", "83", "84", "115", "150", "200", "99"]),
        chance.choice(SIZES),
    )
    unit, status = chance.choice([None, None, Unit.INCH]), chance.choice(["live", "dead_standing",
        "dead_down", "cut", "missing", "not_found"])  # fmt: skip
    new = chance.choice([None, "301", "302", "83"])
    may = [
        *[Meaning("reading", tag, size, unit, stem=chance.choice([None, None, "2"]))] * 4,
        *[Meaning(chance.choice(COMMANDS))] * 5,
        Meaning("size", None, size, unit), Meaning("amend", None, size), Meaning("tree", tag),
        Meaning("new", "301", size, species=chance.choice(["beech", "red oak"])),
        Meaning("new", "301"),
        Meaning("status", chance.choice([tag, None]), status=status),
        Meaning("retag", chance.choice([tag, None]), new_tag=new),
        Meaning("height", height_m=Decimal("1.45")),
        Meaning("press", value=size, unit=Unit.CENTIMETRE),
        None,
    ]  # fmt: skip
    one = chance.choice(may)
    return () if one is None else (one,)


def said_at_random(number: int) -> Iterator[Says]:
    chance = random.Random(number)
    talk = Talk(plots(chance))
    yield from (effect.says for effect in talk.effects if isinstance(effect, Say))
    for at in range(60):
        days = 2 + at // 40
        if (what := chance.random()) < 0.05:
            talk.silence()
        elif what < 0.1:
            talk.open(chance.choice(["K2", "K2", "K1"]), "M.O.")
        else:
            entry, when = len(talk.events) + 1, f"2026-06-{days:02}T09:15:00+02:00"
            heard = Heard(entry, when, "typed", "words", meanings(chance))
            problem = None if heard.meanings else chance.choice(PROBLEMS)
            talk.take(replace(heard, problem=problem))
        yield from (effect.says for effect in talk.effects if isinstance(effect, Say))


def test_whatever_the_session_says_is_korean_with_the_same_figures():
    said = {says for number in range(60) for says in said_at_random(number)}
    assert len(said) > 1_000
    for says in said:
        shown = BOOK.shown(*says)
        assert not re.findall("[A-Za-z]+", NAMES.sub("", shown)), (says, shown)
        assert sorted(FIGURES.findall(shown)) == sorted(FIGURES.findall(in_english.told(says)))


READING = saying("reading", parts=(saying("tag", tag="83"), saying("size", value=Decimal("24.6"))))


@pytest.mark.parametrize(
    ("says", "korean"),
    [
        ((saying("echo", parts=(READING,)), saying("confirm-asked")), "83, 24.6. 확인?"),
        ((saying("saved", reading=READING), saying("next-tree", tag="84")),
         "저장 83, 24.6. 다음 84."),
        ((saying("passed-over", tags=saying("tags-more", tags="61, 62", more=2)),),
         "지나친 나무 61, 62 외 2."),
        ((saying("warn-status-last-time", status=saying("status-dead-standing")),), "지난번 고사."),
        ((saying("works-again", name=saying("name-microphone")),), "마이크 다시 됨."),
    ],
)  # fmt: skip
def test_some_word_for_word(says, korean):
    assert BOOK.shown(*says) == korean


@pytest.mark.parametrize(
    "fault",
    [
        saying("clock-back", time=span_told(timedelta(minutes=65))),
        saying("back-after-sleep", time=span_told(timedelta(seconds=12))),
        saying("disk-nearly-full", size=20), saying("room-again"), saying("mic-silent"),
        saying("typing-goes-on", what=saying("none-there", kind=saying("name-microphone"))),
        saying("recogniser-restarted", what=saying("went-stopped")),
        saying("say-it-again-why", why=saying("sound-lost")), saying("recogniser-slow"),
        saying("no-echo-beeps", why=saying("voice-hangs")), saying("microphone-changed"),
        saying("time-zone", offset="+02:00"),
    ],
)  # fmt: skip
def test_what_does_not_work_is_told_in_korean_too(fault):
    shown = BOOK.shown(fault)
    assert not re.findall("[A-Za-z]+", re.sub(r"\bMB\b", "", shown)), shown
    assert sorted(FIGURES.findall(shown)) == sorted(FIGURES.findall(in_english.told(fault)))


def kinds(words: str) -> list[str]:
    return [one.kind for one in parse_words(KOREAN.full, words, Scope()).meanings]


def test_the_word_that_is_asked_for_is_the_word_that_answers():
    assert kinds(BOOK.shown(saying("confirm-asked")).strip("?")) == ["confirm"]
    assert kinds(BOOK.shown(saying("accept-asked")).strip("?")) == ["accept"]
    assert "인정" in BOOK.shown(saying("say-accept-to-keep", size=Decimal("24.6")))
    asked = BOOK.shown(saying("are-you-well"))
    assert "서 있습니다" in asked and "이상 무" in asked
    assert "새 나무" in BOOK.shown(saying("no-such-tree", tag="9"))


def test_the_voice_is_given_the_point_as_a_word():
    """espeak-ng's Korean voice passes over the point of "24.6": told by its own phonemes."""
    one = saying("size", value=Decimal("24.05"))
    assert BOOK.spoken(saying("was-not-saved", reading=one)) == "24 점 0 5 저장 안 됨."
    assert (BOOK.voice, load_wording("en").spoken(one)) == ("ko", "24.05.")
    told = "\n".join(["24.6", BOOK.spoken(as_is("24.6")), "점"])
    done = subprocess.run(
        [sys.executable, "-c", PHONEMES], input=told, capture_output=True, text=True, check=True
    )
    raw, spoken, point = done.stdout.splitlines()
    assert point in spoken and point not in raw


PHONEMES = """
import ctypes, sys, espeakng_loader
library = ctypes.CDLL(espeakng_loader.get_library_path())
library.espeak_Initialize(2, 0, str(espeakng_loader.get_data_path()).encode(), 0x8000)
library.espeak_SetVoiceByName(b"ko")
library.espeak_TextToPhonemes.restype = ctypes.c_char_p
for line in sys.stdin.read().splitlines():
    text = ctypes.c_char_p(line.encode())
    told = library.espeak_TextToPhonemes(ctypes.byref(text), 1, 0).decode()
    print("".join(filter(str.isalnum, told)))
"""
