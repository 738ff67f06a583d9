"""What is called back in Korean: the phrase book covers the session, and touches no figure.

Dialogues are made up at random in an invented plot. That the Korean is good was judged by nobody.
"""

from __future__ import annotations

import random
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from session_tools import Talk, tree

from callout.core.checks import Rules
from callout.core.errors import OperatorError
from callout.core.events import Heard, Say
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings
from callout.core.units import Unit
from callout.grammar.parser import parse_words
from callout.grammar.phrases import Phrases, read_phrases
from callout.grammar.scope import Scope
from callout.session.state import Survey
from callout.station.data import load_language

KOREAN = load_language("ko")
BOOK = KOREAN.phrases
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
PROBLEMS = (
    "could be tree 83 diameter 24.6, or tree 832 diameter 4.6: say 'diameter' between them",
    "no callout in 'banana': say tree, its tag, then the diameter",
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


def said_at_random(number: int) -> Iterator[str]:
    chance = random.Random(number)
    talk = Talk(plots(chance))
    yield from (effect.text for effect in talk.effects if isinstance(effect, Say))
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
        yield from (effect.text for effect in talk.effects if isinstance(effect, Say))


def test_whatever_the_session_says_is_korean_with_the_same_figures_in_order():
    said = {text for number in range(60) for text in said_at_random(number)}
    assert len(said) > 1_000
    for text in said:
        shown = BOOK.shown(text)
        assert not re.findall("[A-Za-z]+", NAMES.sub("", shown)), (text, shown)
        assert FIGURES.findall(shown) == FIGURES.findall(text)


@pytest.mark.parametrize(
    ("english", "korean"),
    [
        ("83, 24.6. Confirm?", "83, 24.6. 확인?"),
        ("115, 15.2, tag 1 1 5, size 1 5. Confirm?", "115, 15.2, 번호 1 1 5, 지름 1 5. 확인?"),
        ("Saved 83 stem 2, 24.6, dead standing.", "저장 83 줄기 2, 24.6, 고사."),
        ("Next 84.", "다음 84."),
        ("Passed over 61, 62, 63, 64, 65 and 2 more. Next 70.",
         "지나친 나무 61, 62, 63, 64, 65 외 2. 다음 70."),
        ("40, 24.6, dead standing last time. Accept?", "40, 24.6, 지난번 고사. 인정?"),
        ("83, 22.1, that is down 1.9 in 5 years, more than a tape can err. Accept?",
         "83, 22.1, 1.9 줄었음 (5년 동안), 줄자 오차보다 큼. 인정?"),
        ("The microphone works again.", "마이크 다시 됨."),
        ("Something nobody has worded, 83, cut.", "Something nobody has worded, 83, 벌채."),
    ],
)  # fmt: skip
def test_some_word_for_word(english, korean):
    assert BOOK.shown(english) == korean


@pytest.mark.parametrize(
    "fault",
    [
        "The clock was set back by 1 hour 5 minutes.", "Back after 12 seconds asleep.",
        "The disk is nearly full: under 20 MB left.", "There is room on the disk again.",
        "No sound from the microphone: is it muted, or switched off?",
        "There is no microphone. Connect one and start again. Typing goes on.",
        "The recogniser stopped and was started again.", "Sound was lost: say it again.",
        "The recogniser takes long: wait, or type. It is started anew if it hangs.",
        "No spoken echo: The voice hangs. Beeps stand for it: look at the screen.",
        "The microphone was changed, and is open again. Still waiting: 83, 24.6. Confirm?",
        "The time zone is now UTC +02:00.",
    ],
)  # fmt: skip
def test_what_does_not_work_is_told_in_korean_too(fault):
    shown = BOOK.shown(fault)
    assert not re.findall("[A-Za-z]+", re.sub(r"\bMB\b", "", shown)), shown
    assert FIGURES.findall(shown) == FIGURES.findall(fault)


def kinds(words: str) -> list[str]:
    return [one.kind for one in parse_words(KOREAN.full, words, Scope()).meanings]


def test_the_word_that_is_asked_for_is_the_word_that_answers():
    assert kinds(BOOK.shown("Confirm?").strip("?")) == ["confirm"]
    assert kinds(BOOK.shown("Accept?").strip("?")) == ["accept"]
    assert "인정" in BOOK.shown("Say accept to keep 24.6, or call it again.") and kinds("인정")
    asked = BOOK.shown("Are you well? Say I am standing.")
    assert "서 있습니다" in asked and "이상 무" in asked
    assert "새 나무" in BOOK.shown("No tree 9 in this plot: a new one is called new tree.")


def test_the_voice_is_given_the_point_as_a_word():
    """espeak-ng's Korean voice passes over the point of "24.6": told by its own phonemes."""
    assert BOOK.spoken("83, 24.6. Confirm?") == "83, 24 점 6. 확인?"
    assert BOOK.spoken("Saved 83, 24.05.") == "저장 83, 24 점 0 5."
    assert (BOOK.voice, load_language("en").phrases.spoken("24.6")) == ("ko", "24.6")
    told = "\n".join(["24.6", BOOK.spoken("24.6"), "점"])
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


# ---- the book itself ----


@given(st.text(max_size=80))
def test_no_text_breaks_it_and_no_figure_changes(text):
    assert FIGURES.findall(BOOK.shown(text)) == FIGURES.findall(text)


@given(st.lists(st.sampled_from([rule.words for rule in BOOK.rules]), max_size=3))
def test_nor_its_own_words(texts):
    assert isinstance(BOOK.spoken(", ".join(texts)), str)


def test_words_that_would_swap_or_change_figures_are_not_used():
    swaps = read_phrases("{tag} was {size} => {size}, {tag}\nfour => 4\n")
    assert swaps.shown("83 was 24.6.") == "83 was 24.6."
    assert swaps.shown("Four.") == "Four."


def test_a_slot_keeps_to_its_own_part_unless_it_says_otherwise():
    narrow = read_phrases("{status*} before => vorher {status*}\ndead => tot")
    assert narrow.shown("83, dead before.") == "83, vorher tot."
    wide = read_phrases("Was {all*+} => War {all*+}\ndead => tot\ncut, dead => beides")
    assert wide.shown("Was 83, dead, cut, dead.") == "War 83, tot, beides."


def test_a_language_without_a_book_says_it_in_english():
    assert Phrases().shown("Saved 83, 24.6.") == "Saved 83, 24.6."
    assert load_language("en").phrases == Phrases()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("Confirm", "English => words"), ("Confirm =>", "English => words"), ("=> ja", "=> words"),
        ("Next {tag} => weiter", "same slots"), ("Next => weiter {tag}", "same slots"),
        ("{a} {a} => {a} {a}", "same slots"),
    ],
)  # fmt: skip
def test_a_line_that_cannot_be_used_is_told_with_its_number(line, told):
    with pytest.raises(OperatorError, match=r"line 3: .*" + re.escape(told)):
        read_phrases(f"# a book\nvoice: de\n{line}\n")
