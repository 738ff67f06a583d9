"""What people say at a stem, understood or not: ``python -m benchmarks.as_people_say [--all]``.

The table ``tests/grammar/as_people_say.csv`` was written before its writer had read the grammar. A
row says how it came (words as they were spoken, or a line as it was typed), in which moment of the
dialogue, the words, and what they mean. It is judged by what the session makes of it:

    61 19.3      tree 61 and 19.3 wait for their yes, in the plot's unit; ``in`` where it was said
    61 cut       that status waits        new 417 12.2   a new tree waits
    61           that tree is in hand     plot NAME      that plot is asked for
    size 19.3    19.3 for the tree in hand, which is 61; ``status cut`` likewise
    yes ... drop ... help    a command    ask, nothing   nothing is taken

Rightly: it does what was meant. Wrongly: it does something else. Else it was not understood, and
nothing was done. People and plot are invented.
"""

from __future__ import annotations

import argparse
import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from callout.core.checking.checks import Rules
from callout.core.errors import OperatorError
from callout.core.events import Heard, Opened, Save, Say
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings, Tree
from callout.core.units import Unit
from callout.grammar.language import Language
from callout.grammar.parser import Parsed, parse_words
from callout.session.machine import step
from callout.session.phase import Phase
from callout.session.state import Memory, Survey
from callout.station.data import load_language
from callout.station.scopes import scope_of

TABLE = Path(__file__).parents[1] / "tests" / "grammar" / "as_people_say.csv"
AT = "2026-06-02T09:15:00+02:00"
PLOTS = ("alder bottom", "birch ridge")
SPECIES = ("white oak", "sugar maple", "beech")
RIGHT, NOT, WRONG = "rightly", "not understood", "wrongly"
_TAGS = (*map(str, range(1, 121)), "204", "A12")
_COMMANDS = {
    "yes": "confirm",
    "no": "reject",
    "drop": "scratch",
    "repeat": "repeat",
    "help": "help",
    "pause": "pause",
    "resume": "resume",
    "next": "next",
    "left": "left",
    "last": "last",
    "undo": "undo",
    "skip": "skip",
}
_BEFORE: dict[str, tuple[Meaning, ...]] = {
    "idle": (),
    "comma": (Meaning("tree", "61"),),
    "named": (Meaning("tree", "61"),),
    "pending": (Meaning("reading", "61", Decimal("19.3")),),
    "asked_tree": (Meaning("size", value=Decimal("19.3")),),
    "paused": (Meaning("pause"),),
    "saved": (Meaning("reading", "61", Decimal("19.3")), Meaning("confirm")),
}


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    how: str
    moment: str
    said: str
    meaning: str


@dataclass(frozen=True)
class Judged:
    """A row, what was made of it, and which of the three that is."""

    row: Row
    made: str
    verdict: str


def rows(table: Path = TABLE) -> list[Row]:
    """The table."""
    with table.open(encoding="utf-8", newline="") as file:
        return [Row(**row) for row in csv.DictReader(file)]


def invented_survey() -> Survey:
    """A plot in inches with tags 1 to 120, 204 and A12, and another to go to."""
    plots = {}
    for name in PLOTS:
        settings = PlotSettings(name, unit=Unit.INCH, smallest=Decimal("0.5"), largest=Decimal(60))
        plots[name] = Plot(settings, {tag: Tree(name, tag, "beech") for tag in _TAGS})
    return Survey(plots, {name: Rules(accept_word=False) for name in plots})


class Judge:
    """Takes rows to a session that stands in their moment."""

    def __init__(self, language: Language | None = None) -> None:
        self._survey = invented_survey()
        self._plot = self._survey.plots["alder bottom"]
        self._language = language or load_language("en", SPECIES, PLOTS)

    def judged(self, row: Row) -> Judged:
        """What becomes of it."""
        made = self._made(row)
        wanted = _wanted(row.meaning)
        if row.moment == "asked_tree" and made == f"{wanted} 19.3":
            return Judged(row, made, RIGHT)  # the size that asked for its tree went with it
        nothing = made in ("", "ask")
        if row.meaning in ("ask", "nothing"):
            return Judged(row, made, RIGHT if nothing else WRONG)
        return Judged(row, made, RIGHT if made == wanted else NOT if nothing else WRONG)

    def _made(self, row: Row) -> str:
        before = self._memory(row.moment)
        parsed = self.parsed(row)
        event = Heard(
            9,
            AT,
            "voice" if row.how == "spoken" else "typed",
            row.said,
            parsed.meanings,
            parsed.problem,
            about=before.asking,
        )
        after, effects = step(self._survey, before, event)
        kind = parsed.meanings[0].kind if len(parsed.meanings) == 1 else ""
        if any(isinstance(effect, Save) for effect in effects):
            return "confirm"
        if parsed.problem is not None or not kind:
            return ""
        if kind == "undo" and after.pending is not None:
            return kind  # what is to be taken back waits for its yes
        if after.pending is not None and after.pending != before.pending:
            return _reading(after)
        if after.phase is Phase.NAMED and after.said != before.said and kind != "reject":
            new = "new " if after.drafted is not None and after.drafted.is_new else ""
            return f"{new}{after.named}"
        if kind == "plot":
            return f"plot {parsed.meanings[0].text}"
        told = [one.key for effect in effects if isinstance(effect, Say) for one in effect.says]
        return "ask" if kind in _ASKED or set(told) & _UNDONE else kind

    def _memory(self, moment: str) -> Memory:
        memory, _ = step(self._survey, Memory(), Opened(1, AT, "alder bottom", "R.V."))
        for number, meaning in enumerate(_BEFORE[moment], start=2):
            event = Heard(number, AT, "typed", meaning.kind, (meaning,))
            memory, _ = step(self._survey, memory, event)
        return memory

    def parsed(self, row: Row) -> Parsed:
        """Its meaning, before the session has it."""
        try:
            scope = scope_of(self._plot)
            if row.moment == "comma":
                scope = replace(scope, decimal_comma=True)
            return parse_words(self._language.full, row.said, scope)
        except OperatorError as error:
            return Parsed(row.said, (), error.saying)


_ASKED = ("size", "amend", "status", "tree", "reading", "new")
"""With nothing in hand these are asked about: nothing was taken."""
_UNDONE = frozenset(
    {
        "which-tree",
        "size-which-tree",
        "size-or-tree",
        "say-tree-word",
        "cannot-be-done",
        "nothing-waits",
        "waits-not",
        "species-of-new",
        "tag-corrected-by",
    }
)


def _reading(memory: Memory) -> str:
    assert memory.pending is not None
    draft = memory.pending.draft
    raw = "" if draft.raw is None else f"{draft.raw.normalize():f}"
    unit = memory.pending.draft.raw_unit
    parts = (
        "new" if draft.is_new else "",
        draft.tag,
        f"stem {draft.stem}" if draft.stem else "",
        raw,
        unit.value if unit is not None and unit is not Unit.INCH else "",
        draft.species if draft.is_new else "",
        draft.status if draft.status != "live" else "",
    )
    return " ".join(part for part in parts if part)


def _wanted(meaning: str) -> str:
    """The table's words as ``_reading`` and the kinds of callouts write them."""
    if meaning in _COMMANDS:
        return _COMMANDS[meaning]
    words = meaning.removesuffix(" in").removesuffix(" live").split(" ")  # the plot's own unit
    if words[0] in ("size", "status"):
        words[0] = "61"
    number = [f"{Decimal(word).normalize():f}" if _is_size(word) else word for word in words]
    return " ".join(number)


def _is_size(word: str) -> bool:
    return word.replace(".", "", 1).isdigit()


def table(judged: Sequence[Judged]) -> str:
    """How many of each, spoken and typed."""
    lines = ["| | utterances | rightly | not understood | wrongly |", "|---|---|---|---|---|"]
    for how in ("spoken", "typed", "all"):
        own = [one for one in judged if how in (one.row.how, "all")]
        count = Counter(one.verdict for one in own)
        share = 100 * count[RIGHT] / len(own)
        right = f"{count[RIGHT]} ({share:.1f} %)"
        lines.append(f"| {how} | {len(own)} | {right} | {count[NOT]} | {count[WRONG]} |")
    return "\n".join(lines)


def main() -> None:
    """Print the figures, and with ``--all`` every row that was not understood rightly."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--all", action="store_true", help="each row that is not right")
    parser.add_argument("--table", type=Path, default=TABLE, help="another table of that form")
    options = parser.parse_args()
    judge = Judge()
    judged = [judge.judged(row) for row in rows(options.table)]
    for one in judged:
        if options.all and one.verdict != RIGHT:
            print(f"{one.verdict}: {one.row} -> {one.made!r}")
    print(table(judged))


if __name__ == "__main__":
    main()
