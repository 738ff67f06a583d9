"""The guard of standard output: nothing a terminal obeys gets through, JSON stays what it was.

Control sequences after ECMA-48; direction marks after Unicode's bidirectional algorithm.
"""

from __future__ import annotations

import io
import json
import sys
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.cli.shown import Guarded, guarded, rich_console
from callout.core.unseen import spelt


def test_every_character_of_unicode_that_is_obeyed_is_spelt_out() -> None:
    every = [chr(code) for code in range(sys.maxunicode + 1) if not 0xD800 <= code < 0xE000]
    bad = [char for char in every if char != "\n" and unicodedata.category(char) in ("Cc", "Cf")]
    bad += ["\u2028", "\u2029"]
    left = [char for char in bad if spelt(char) == char]
    # Shown by fonts that have them, obeyed by none: hieroglyph joiners, shorthand, music.
    assert all(ord(char) > 0x10FFF or "\u0890" <= char <= "\u08e2" for char in left), left
    kept = "83 24.6 é 나무 Fraxinus ½ “x” 🌲\n"
    assert spelt(kept) == kept


@given(st.text())
def test_json_reads_the_same(text: str) -> None:
    told = json.dumps({"tag": text}, ensure_ascii=False)
    assert json.loads(spelt(told)) == {"tag": text}


def test_the_guard_stands_within_and_no_longer(capsys: pytest.CaptureFixture[str]) -> None:
    with guarded():
        print("a\x1b[2Jb\n\x9b31mc\x07")
        print("\u202ee", file=sys.stderr)
        with guarded():
            print("once\x1b")
            rich_console(color_system="standard", force_terminal=True).print("[red]r[/]")
    told = capsys.readouterr()
    assert told.out.startswith("a\\u001b[2Jb\n\\u009b31mc\\u0007\nonce\\u001b\n\x1b[31mr")
    assert told.err == "\\u202ee\n"
    assert not isinstance(sys.stdout, Guarded)


def test_other_calls_reach_the_stream_itself() -> None:
    raw = io.TextIOWrapper(io.BytesIO(), encoding="latin-1")
    guard = Guarded(raw)
    assert guard.write("x\x1b") == 2
    guard.flush()
    assert (guard.encoding, guard.isatty(), guard.buffer) == ("latin-1", False, raw.buffer)


def test_a_guard_given_up_after_its_stream_was_closed_says_nothing() -> None:
    raw = io.StringIO()
    guard = Guarded(raw)
    raw.close()
    guard.close()  # Python closes a stream that is given up; a fault there is told from 3.13 on
