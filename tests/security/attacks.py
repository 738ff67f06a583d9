"""A survey folder from a stranger whose every text attacks: terminals, spreadsheets, pages, paths.

The attacks are after ECMA-48 (control sequences), the Unicode bidirectional controls, OWASP's list
of formula beginnings, and common practice for SQL, HTML and paths. All data is invented.
"""

from __future__ import annotations

import functools
import unicodedata
from datetime import date
from decimal import Decimal
from pathlib import Path

from callout.core.events import Save
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, PlotSettings, Tree
from callout.core.units import Unit
from callout.grammar.language import Language
from callout.journal.folder import SurveyFolder, make_survey
from callout.sound.sound_files import encode_flac
from callout.station.data import load_language
from callout.station.station import Station

AT = "2026-06-02T09:15:00.000+02:00"
ATTACKS = {
    "clear screen": "\x1b[2J\x1b[H",
    "window title": "\x1b]0;owned\x07",
    "8-bit control": "\x9b31mred",
    "paste from clipboard": "\x1b]52;c;Y2FsYw==\x07",
    "carriage return": "83\rSaved 91, 99.9.",
    "line feed": "83\ncallout: all is well",
    "backspaces": "24.6\b\b\b\b99.9",
    "right to left": "\u202e6.42\u202c",
    "null": "a\x00b",
    "equals formula": "=HYPERLINK(A1)",
    "plus formula": "+1+1",
    "minus formula": "-2+3",
    "at formula": "@SUM(A1)",
    "tab formula": "\t=1+1",
    "command formula": "=cmd|' /C calc'!A0",
    "quote": '"; =1+1,"',
    "SQL": "'; DROP TABLE readings; --",
    "script": "<script>alert(1)</script>",
    "image": "<img src=x onerror=alert(1)>",
    "closing script": "</script><script>alert(1)//",
    "markup": "[red]x[/red] [link=file:///etc]",
    "path up": "../../escaped",
    "absolute path": "/tmp/callout-escaped",
    "format": "%n%s{0}$(touch x)`touch x`",
    "long": "x" * 20_000,
}
FIELDS = ("tag", "species", "plot", "who", "column", "cell", "treatment")
"""Where a stranger's folder, or somebody at the keyboard, can put text."""


def survey_of(folder: Path, field: str, attack: str) -> SurveyFolder:
    """A survey with one measured tree, whose ``field`` holds the attack."""
    text = {name: f"{name} of Harrow Fen" for name in FIELDS}
    text.update(tag="83", plot="K2", who="R.V.", species="beech", treatment="control")
    text[field] = attack
    past = (PastMeasurement(date(2021, 7, 8), Decimal("25.0"), Unit.CENTIMETRE),)
    tree = Tree(text["plot"], text["tag"], text["species"], past, {text["column"]: text["cell"]})
    other = Tree(text["plot"], "91", "oak")
    settings = PlotSettings(plot="", treatment=text["treatment"], area_ha=Decimal("0.1"))
    made = make_survey(folder, (tree, other), settings, {}, AT)
    measure(made, text["plot"], text["tag"], text["who"])
    return made


def measure(folder: SurveyFolder, plot: str, tag: str, who: str) -> None:
    """Read the tree by tape, since no keyboard types such a tag, and confirm it."""
    language = _english()
    station = Station(folder, language, None, encode_flac, lambda: _now())
    try:
        saved: list[object] = []
        station.watch(lambda done: saved.extend(x for x in done.effects if isinstance(x, Save)))
        station.open(plot, who)
        station.measure("24.6", Meaning("reading", tag, Decimal("24.6")), "tape")
        station.press("confirm")
        assert len(saved) == 1
    finally:
        station.close()


@functools.cache
def _english() -> Language:
    return load_language("en")


def _now():  # type: ignore[no-untyped-def]
    from datetime import datetime

    return datetime.fromisoformat(AT)


def obeyed(text: str) -> str:
    """The first character that a terminal would obey instead of show, or ''."""
    for char in text:
        kind = unicodedata.category(char)
        if char not in "\n" and (kind in ("Cc", "Cf", "Zl", "Zp") or "\x7f" <= char <= "\x9f"):
            return repr(char)
    return ""


def runs_in_sheet(cell: object) -> bool:
    """Whether a spreadsheet takes this cell's text for a formula (OWASP, CSV injection)."""
    return (
        isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") and not _number(cell)
    )


def _number(text: str) -> bool:
    try:
        Decimal(text)
    except ArithmeticError:
        return False
    return True
