"""Text typed letter by letter does what the same text sent at once does, at any moment."""

from __future__ import annotations

import asyncio
import string
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import fake_face as scripted
import pytest
import typing_lines
from textual.events import Paste

from callout.session.phase import Phase
from callout.station.face import MOST_TYPED
from callout.terminal.keyboard import COMMANDS, ON_EMPTY_LINE, TOO_LONG, Keyboard, Notice, Submit

MEMO = replace(scripted.WARNED, phase=Phase.MEMO)
MOMENTS = {
    "warned": scripted.WARNED, "waiting": scripted.PENDING, "memo": MEMO, "saved": scripted.SAVED,
    "named": scripted.NAMED, "refused": scripted.REFUSED, "faults": scripted.FAULTY,
}  # fmt: skip


FIRST = ("A12 30.4", "U7 24.6", "s", "M91 9.9", " 83 25", "/help", "?")


def typed(view: scripted.View, texts: Sequence[str], safety: bool, how: str) -> list[object]:
    """What each of ``texts`` and Enter ask for, typed or pasted; the first as the screen begins."""
    face = scripted.FakeFace(view)

    async def main() -> None:
        app = scripted.screen(face, safety, Clock())
        async with app.run_test(size=(80, 24)) as pilot:
            for text in texts:
                if how == "pasted":
                    app.screen.post_message(Paste(text))
                else:
                    await pilot.press(*text)
                await pilot.press("enter")
                await pilot.pause()

    asyncio.run(main())
    return face.asked


class Clock:
    """Every look is five seconds later: whatever is shown was read."""

    now = 100.0

    def __call__(self) -> float:
        self.now += 5
        return self.now


@pytest.mark.parametrize("safety", [True, False], ids=["starting", "standing"])
@pytest.mark.parametrize("name", MOMENTS)
def test_no_first_letter_acts(name: str, safety: bool) -> None:
    at = list(MOMENTS).index(name)  # each text is the first one at some moment
    texts = (*FIRST[at:], *FIRST[:at])
    sent = [("submit", text.strip()) for text in texts]
    assert typed(MOMENTS[name], texts, safety, "letters") == sent


@pytest.mark.parametrize("safety", [True, False], ids=["starting", "standing"])
def test_pasted_text_is_typed_text(safety: bool) -> None:
    for text in ("A12 30.4", "accept", "83\t24.6"):
        asked = typed(scripted.WARNED, [text], safety, "pasted")
        assert asked == [("submit", text.replace("\t", " "))]


def test_no_character_of_any_kind_acts() -> None:
    view = scripted.WARNED
    for character in [*string.printable, *"é½🌲\u202e\u200b\x9b\x00\x1b\x7f"]:
        if character in "\n\r":
            continue
        keyboard = Keyboard()
        keyboard.showed(view, 0.0)
        # Whatever the terminal calls the key, e.g. "a", "shift+a", "alt+a".
        for name in (character, f"shift+{character}", f"alt+{character}"):
            assert keyboard.key(name, character, view, 10.0) == []


def test_what_acts_puts_no_character() -> None:
    assert all(len(name) > 1 for name in (*COMMANDS, *ON_EMPTY_LINE))
    assert not set(COMMANDS) & {"space", "tab", "slash", "question_mark", "left", "right"}


def test_a_line_carries_what_was_shown_when_it_was_begun() -> None:
    keyboard = Keyboard()
    keyboard.showed(replace(scripted.PENDING, waiting=7), 0.0)
    keyboard.key("y", "y", scripted.PENDING, 1.0)
    other = replace(scripted.PENDING, waiting=9, tag="84")
    keyboard.showed(other, 1.5)
    for at, letter in enumerate("es"):
        keyboard.key(letter, letter, other, 2.0 + at)
    (sent,) = keyboard.key("enter", "\r", other, 5.0)
    assert isinstance(sent, Submit)
    assert (sent.text, sent.waiting) == ("yes", 7)


def test_a_line_that_is_too_long_is_refused_whole() -> None:
    keyboard = Keyboard()
    for _ in range(10_000):
        keyboard.key("9", "9", scripted.IDLE, 1.0)
    assert keyboard.key("enter", "\r", scripted.IDLE, 2.0) == [Notice(TOO_LONG)]
    assert keyboard.line.text == ""
    assert keyboard.paste("9" * (MOST_TYPED + 1), 3.0) == []
    assert keyboard.key("enter", "\r", scripted.IDLE, 4.0) == [Notice(TOO_LONG)]


EDITS: list[tuple[tuple[str, ...], str]] = [
    (("8", "4", "backspace", "3"), "83"),
    (("8", "9", "left", "backspace", "1"), "19"),
    (("2", "4", "home", "8", "3", "space", "end", "."), "83 24."),
    (("8", "x", "3", "left", "left", "delete"), "83"),
]


@pytest.mark.parametrize(("keys", "text"), EDITS)
def test_editing(keys: tuple[str, ...], text: str) -> None:
    keyboard = Keyboard()
    for name in keys:
        character = " " if name == "space" else name if len(name) == 1 else None
        keyboard.key(name, character, scripted.WARNED, 1.0)
    assert keyboard.line.text == text


def test_escape_held_clears_the_line_and_says_no_to_nothing() -> None:
    keyboard = Keyboard()
    keyboard.showed(scripted.PENDING, 0.0)
    keyboard.key("8", "8", scripted.PENDING, 10.0)
    held = [keyboard.key("escape", "\x1b", scripted.PENDING, 11 + at / 30) for at in range(60)]
    assert held == [[]] * 60


def test_generated_lines_both_ways(tmp_path: Path) -> None:
    # 10,000 of them: python tests/terminal/typing_lines.py
    assert typing_lines.differing(tmp_path, lines=60, seed=7) == []


def test_the_comparison_sees_a_letter_that_acts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = Keyboard.key

    def acting(self: Keyboard, name: str, character: str | None, *more: object) -> object:
        if not self.line.text and name.lower() == "a":  # as it once was
            name, character = "f4", None
        return key(self, name, character, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(Keyboard, "key", acting)
    monkeypatch.setattr(typing_lines, "WORDS", ("A12 30.4",))
    with pytest.raises(AssertionError):
        assert typing_lines.differing(tmp_path, lines=60, seed=7) == []
