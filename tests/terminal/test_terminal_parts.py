"""The pure parts: neutralising, block letters, contrast, wording, the mailbox."""

from __future__ import annotations

import threading
import unicodedata
from dataclasses import replace

import fake_face as scripted
import pytest
from hypothesis import given
from hypothesis import strategies as st
from in_english import WORDS, part
from rich.cells import cell_len
from textual.geometry import Size
from textual.message import Message
from textual.theme import Theme

from callout.station.face import Level
from callout.terminal import labels
from callout.terminal.blocks import SMALL, TALL, Font, Scale, draw
from callout.terminal.plain import plain
from callout.terminal.screen_messages import Mailbox
from callout.terminal.themes import DUSK, PAIRS, SUN
from callout.terminal.widgets.lists import next_few
from callout.terminal.widgets.reading import Shown, laid_out, shown_of


@given(st.text())
def test_plain_text_is_printable(text: str) -> None:
    # Python's own notion of printable; other widths of space (category Zs) are harmless too.
    for character in plain(text):
        assert character.isprintable() or unicodedata.category(character) == "Zs"


@given(st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=400))
def test_ordinary_text_stays_as_it_is(text: str) -> None:
    assert plain(text) == text


def test_long_text_is_cut_and_says_so() -> None:
    assert plain("x" * 500) == "x" * 399 + "…"


def _luminance(colour: str) -> float:
    """Relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    """Contrast ratio. Source: WCAG 2.2, definition of contrast ratio."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula() -> None:
    # WCAG 2.2: black on white is 21:1.
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("theme", [SUN, DUSK], ids=lambda theme: theme.name)
def test_every_pair_of_colours_stands_at_seven_to_one(theme: Theme) -> None:
    # WCAG 2.2, success criterion 1.4.6 (enhanced): at least 7:1.
    pairs = [(theme.variables[f"{name}-back"], theme.variables[f"{name}-text"]) for name in PAIRS]
    pairs += [(str(theme.background), str(theme.foreground))]
    pairs += [(str(theme.panel), str(theme.foreground))]
    assert all(_contrast(*pair) >= 7 for pair in pairs)


@pytest.mark.parametrize("font", [TALL, SMALL], ids=["tall", "small"])
def test_glyphs_are_rectangles_and_all_differ(font: Font) -> None:
    for name, rows in font.items():
        assert len({len(row) for row in rows}) == 1, name
        assert set("".join(rows)) <= {"#", "."}, name
    assert len(set(font.values())) == len(font)


@pytest.mark.parametrize("font", [TALL, SMALL], ids=["tall", "small"])
@pytest.mark.parametrize("pixel", [1, 2, 3, 4, 5, 6])
def test_drawing_has_the_size_of_its_pixels(font: Font, pixel: int) -> None:
    lines = draw("124.6", font, Scale(pixel, pixel))
    pixels = sum(len(font[character][0]) for character in "124.6") + len("124.6") - 1
    assert {len(line) for line in lines} == {pixels * pixel}
    assert len(lines) == (len(font["0"]) * pixel + 1) // 2


@pytest.mark.parametrize("tag", ["1", "83", "999", "1283", "A12", "83-2"])
@pytest.mark.parametrize("size", ["1.0", "24.6", "99.9", "124.6", "dead standing", "?"])
@pytest.mark.parametrize("room", [Size(78, 5), Size(78, 8), Size(118, 20)], ids=str)
def test_reading_is_large_and_never_cut(tag: str, size: str, room: Size) -> None:
    lines = laid_out(Shown("", tag, size), room)
    assert len(lines) <= room.height
    assert all(len(line) <= room.width for line in lines)
    if len(tag) <= 3 or len(size) <= 5:
        assert len(lines) >= 5


@pytest.mark.parametrize(
    ("tag", "size"), [("№8", "24.6"), ("83 줄기 2", "24.6"), ("140", "쓰러짐"), ("가나", "고사")]
)
@pytest.mark.parametrize("room", [Size(78, 8), Size(38, 6)], ids=str)
def test_words_that_cannot_be_drawn_stand_beside_the_large_figures(
    tag: str, size: str, room: Size
) -> None:
    lines = laid_out(Shown("", tag, size), room)
    assert len(lines) <= room.height and all(cell_len(line) <= room.width for line in lines)
    for word in f"{tag} {size}".split():
        assert word.isascii() != (word in lines[-1]), f"{word} is either large or there in words"
    assert len(lines) >= 5 or not any(word.isascii() for word in (tag, size))


def test_no_status_is_told_by_colour_alone() -> None:
    views = [
        scripted.IDLE, scripted.PENDING, scripted.WARNED, scripted.SAVED, scripted.ASKED,
        scripted.REFUSED, scripted.FAULTY,
    ]  # fmt: skip
    words = [labels.state(view) for view in views]
    assert len(set(words)) == len(views)


def test_saved_is_shown_large_only_for_the_reading_that_was_saved() -> None:
    assert shown_of(scripted.SAVED, WORDS).size == "25.4"
    other = replace(scripted.SAVED, recent=scripted.RECENT)
    assert labels.just_saved(other) is None
    undone = replace(scripted.SAVED, answer="undone", said="Undone: 83, 25.4 is taken back.")
    assert labels.just_saved(undone) is None
    assert part(labels.state(undone)) == "DONE"


def test_nothing_says_listening_when_nothing_listens() -> None:
    assert part(labels.state(replace(scripted.IDLE, engine=""))) == "READY FOR TYPING"
    assert part(labels.state(scripted.FAULTY)) == "FAULT: SEE BELOW"


def test_next_few_names_what_fits_and_counts_the_rest() -> None:
    told = next_few(scripted.IDLE, 38, 3, WORDS)
    named = [word for word in told.split("  and ")[0].split() if word.isdigit()]
    assert named == list(scripted.TAGS[82 : 82 + len(named)])
    assert told.endswith(f"and {218 - len(named)} more")


@pytest.mark.parametrize(
    ("level", "cells", "word"),
    [
        (Level(float("-inf"), False), 0, "NO SOUND"),
        (Level(float("nan"), False), 0, "NO SOUND"),
        (Level(-60.0, False), 0, "quiet"),
        (Level(-30.0, True), 5, "speech"),
        (Level(0.0, True), 10, "TOO LOUD"),
        (Level(3.0, True), 10, "TOO LOUD"),
    ],
)
def test_levels(level: Level, cells: int, word: str) -> None:
    assert labels.level_cells(level, 10) == cells
    assert part(labels.level_told(level)) == word


def test_a_burst_from_many_threads_is_one_message_with_the_newest_view() -> None:
    posted: list[Message] = []
    box = Mailbox(posted.append)
    threads = [
        threading.Thread(target=lambda: [box.put(Level(-30.0, False)) for _ in range(500)])
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    box.put(scripted.PENDING)
    box.put(scripted.SAVED)
    assert len(posted) == 1
    assert box.take() == (scripted.SAVED, Level(-30.0, False))
    assert box.take() == (None, None)
    box.put(scripted.IDLE)
    assert len(posted) == 2
