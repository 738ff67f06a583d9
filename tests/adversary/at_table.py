"""Two tables that the person sits at: the pure session, and a real station with its journal.

Each takes what is said, typed or pressed, and gives back what is called back and what was stored.
The number is the one that a screen shows beside its echo. Plots and trees are invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from functools import lru_cache
from pathlib import Path

import in_english
from session_tools import replayed
from station_tools import ScriptedEngine, sound
from wishes import Place

from callout.core.checking.checks import Rules
from callout.core.errors import CalloutError
from callout.core.events import Effect, Event, Heard, Opened, Save, Say, TimedOut
from callout.core.meaning import READING_KINDS, Meaning
from callout.core.model import PastMeasurement, Plot, PlotSettings, Reading, Tree
from callout.core.saying import saying
from callout.core.units import Scale, Unit
from callout.grammar.automaton import Automaton
from callout.grammar.language import Language
from callout.grammar.parser import Parsed, parse_words
from callout.grammar.scope import Scope
from callout.journal.folder import SurveyFolder, make_survey
from callout.journal.reader import current
from callout.session.machine import step
from callout.session.state import Memory, Survey
from callout.session.tags import known_tags
from callout.sound.sound_files import encode_flac
from callout.station.data import load_language
from callout.station.scopes import scope_of
from callout.station.station import Station

Row = dict[str, object]


class Uncut(Language):
    """The language, not narrowed to a plot for listening: that takes long, and no sound is heard.

    What does not fit the plot is refused in choosing all the same.
    """

    def spoken_in(self, scope: Scope) -> Automaton:
        return self.spoken


LANGUAGE = Uncut(**vars(load_language("en", ("beech", "red oak", "white pine"))))
BEGAN = datetime(2026, 6, 2, 9, 15, tzinfo=timezone(timedelta(hours=2)))
LAST = date(2021, 6, 2)


def _trees(plot: str, sizes: Mapping[str, str], unit: Unit, **lines: str) -> dict[str, Tree]:
    found = {}
    for at, (tag, size) in enumerate(sizes.items()):
        extra = {"measured_at_m": lines[f"t{tag}"]} if f"t{tag}" in lines else {}
        past = (PastMeasurement(LAST, Decimal(size), unit),) if size else ()
        found[tag] = Tree(plot, tag, ("beech", "red oak")[at % 2], past, extra)
    return found


CM, IN = Unit.CENTIMETRE, Unit.INCH
_SIZES = {"7": "27.5", "13": "16.2", "30": "60.4", "40": "33.0", "83": "24.0", "A12": "12.4"}
PLOTS = {
    "K1": Plot(PlotSettings("K1"), _trees("K1", {**_SIZES, "84": "18.3"}, CM, t84="1.60")),
    "K2": Plot(PlotSettings("K2", scale=Scale.GIRTH, largest=Decimal(150)),
               _trees("K2", {"7": "31.0", "83": "28.6", "115": "15.9"}, CM, t115="1.45")),
    "K3": Plot(PlotSettings("K3", unit=IN), _trees("K3", {"5": "12.5", "50": "7.9", "83": ""}, IN,
                                                    t50="1.50")),
}  # fmt: skip
BLIND = ("K3",)
RULES = {name: Rules(blind=name in BLIND) for name in PLOTS}
SPECIES = frozenset({"beech", "red oak", "white pine"})


def places() -> dict[str, Place]:
    """The site in the person's own terms."""
    return {
        name: Place(
            name,
            plot.settings.unit.value,
            plot.settings.scale.value,
            name in BLIND,
            {tag: tree.species for tag, tree in plot.trees.items()},
            {
                tag: Decimal(tree.extra["measured_at_m"])
                for tag, tree in plot.trees.items()
                if "measured_at_m" in tree.extra
            },
        )
        for name, plot in PLOTS.items()
    }


def row_of(reading: Reading) -> Row:
    """What was stored, by the names that a wish has."""
    names = ("plot", "tag", "stem", "raw", "raw_scale", "value", "status", "species", "is_new",
             "height_m", "tag_lost", "new_tag")  # fmt: skip
    found: Row = {name: getattr(reading, name) for name in names}
    found["raw_unit"] = reading.raw_unit.value if reading.raw_unit else None
    found["unit"] = reading.unit.value
    return found


@dataclass
class Answer:
    """What was called back, and what was stored: rows, and whether each takes one back."""

    texts: list[str] = field(default_factory=list)
    saves: list[tuple[Row, bool]] = field(default_factory=list)

    def take(self, effects: tuple[Effect, ...]) -> None:
        self.texts += [in_english.told(effect) for effect in effects if isinstance(effect, Say)]
        self.saves += [
            (row_of(effect.reading), effect.reading.void)
            for effect in effects
            if isinstance(effect, Save)
        ]


@lru_cache(maxsize=200_000)
def _parsed(text: str, scope: Scope) -> Parsed:
    try:
        return parse_words(LANGUAGE.full, text, scope)
    except CalloutError as error:
        return Parsed(text, (), error.saying)


@lru_cache(maxsize=1000)
def _scope(plot: str, more: frozenset[str]) -> Scope:
    return scope_of(PLOTS[plot], more)


class PureTable:
    """The pure session and the parser; every event is kept, so that a restart replays them."""

    def __init__(self) -> None:
        self.survey = Survey(PLOTS, RULES)
        self.memory, self.events = Memory(), list[Event]()
        self._now = BEGAN

    @property
    def number(self) -> int:
        return self.memory.asking

    def _at(self) -> str:
        self._now += timedelta(seconds=3)
        return self._now.isoformat()

    def wait(self, seconds: int) -> None:
        self._now += timedelta(seconds=seconds)

    def _take(self, event: Event) -> Answer:
        self.events.append(event)
        self.memory, effects = step(self.survey, self.memory, event)
        answer = Answer()
        answer.take(effects)
        return answer

    @property
    def _next(self) -> int:
        return len(self.events) + 1

    def open(self, plot: str, who: str) -> Answer:
        return self._take(Opened(self._next, self._at(), plot, who))

    def silence(self) -> Answer:
        return self._take(TimedOut(self._next, self._at()))

    def _heard(self, source: str, parsed: Parsed, about: int | None, **more: object) -> Answer:
        event = Heard(
            self._next, self._at(), source, parsed.words, parsed.meanings, parsed.problem,
            about=about, **more,  # type: ignore[arg-type]
        )  # fmt: skip
        return self._take(event)

    def _parse(self, text: str) -> Parsed:
        plot = self.survey.plots[self.memory.plot]
        tags = frozenset(known_tags(self.memory, plot))
        return _parsed(text, _scope(self.memory.plot, tags))

    def typed(self, text: str, about: int | None) -> Answer:
        parsed = self._parse(text)
        if not parsed.meanings and self.memory.listens_for_a_note:
            parsed = Parsed(text, (Meaning("note", text=text),), None)
        return self._heard("typed", parsed, about)

    def voiced(self, words: str, about: int | None, confidence: str = "0.9") -> Answer:
        parsed = self._parse(words)
        sure = Decimal(confidence)
        kinds = {meaning.kind for meaning in parsed.meanings}
        if sure < Decimal("0.5") and not (len(kinds) == 1 and kinds <= READING_KINDS):
            parsed = Parsed(words, parsed.meanings, saying("not-sure"))
        return self._heard("voice", parsed, about, confidence=sure, audio="0" * 64)

    def key(self, kind: str, about: int | None) -> Answer:
        return self._heard("key", Parsed(kind, (Meaning(kind),), None), about)

    def press(self, value: Decimal, unit: str, side: str, tag: str | None = None) -> Answer:
        meaning = Meaning("press", tag, value, Unit(unit), scale=Scale(side))
        words = f"{value} {unit}"
        parsed = Parsed(words, (meaning,), None)
        return self._heard("tape", parsed, self.number, engine=f"tape {unit} {side}")

    def restart(self) -> None:
        """The journal's events through a fresh session give the same memory."""
        again = replayed(self.survey, self.events)
        assert again == self.memory, "a restart forgets or invents something"
        self.memory = again

    def stored(self) -> list[Row]:
        found = [self.memory.saved.stems(name, tag)
                 for name in PLOTS for tag in self.memory.saved.trees(name)]  # fmt: skip
        return [row_of(reading) for stems in found for reading in stems.values()]

    def close(self) -> None:
        """Nothing is held open."""


class StationTable:
    """A real station: parser, journal on disk, sounds kept, restarts that read it all again."""

    def __init__(self, where: Path) -> None:
        trees = tuple(tree for plot in PLOTS.values() for tree in plot.trees.values())
        settings = {name: plot.settings for name, plot in PLOTS.items()}
        blind = "".join(f"[checks.plots.{name}]\nblind = true\n" for name in BLIND)
        self.folder = make_survey(
            where / "site", trees, PlotSettings(plot=""), settings, BEGAN.isoformat()
        )
        with self.folder.settings.open("a", encoding="utf-8") as file:
            file.write(f"\n{blind}")
        self._now, self._engine = BEGAN, ScriptedEngine()
        self._answer = Answer()
        self.station = self._begin()

    def _begin(self) -> Station:
        station = Station(self.folder, LANGUAGE, self._engine, encode_flac, self._time)
        station.watch(lambda done: self._answer.take(done.effects))
        return station

    def _time(self) -> datetime:
        self._now += timedelta(seconds=1)
        return self._now

    @property
    def number(self) -> int:
        return self.station.memory.asking

    def wait(self, seconds: int) -> None:
        self._now += timedelta(seconds=seconds)

    def _done(self) -> Answer:
        answer, self._answer = self._answer, Answer()
        return answer

    def open(self, plot: str, who: str) -> Answer:
        self.station.open(plot, who)
        return self._done()

    def silence(self) -> Answer:
        self.station.time_out()
        return self._done()

    def typed(self, text: str, about: int | None) -> Answer:
        self.station.type(text, about=about)
        return self._done()

    def voiced(self, words: str, about: int | None, confidence: str = "0.9") -> Answer:
        """Begun after the echo that it answers, or before it."""
        self._engine.next_words, self._engine.confidence = words, float(confidence)
        self._now += timedelta(seconds=2)
        early = about != self.number
        began = self._now - timedelta(days=1) if early else self._now
        self.station.hear(sound(1), began=began)
        return self._done()

    def key(self, kind: str, about: int | None) -> Answer:
        self.station.press(kind, about=about)
        return self._done()

    def press(self, value: Decimal, unit: str, side: str, tag: str | None = None) -> Answer:
        meaning = Meaning("press", tag, value, Unit(unit), scale=Scale(side))
        self.station.measure(f"{value} {unit}", meaning, f"tape {unit} {side}")
        return self._done()

    def restart(self) -> None:
        before = self.station.memory
        self.station.close()
        self.station = self._begin()
        assert self.station.memory == before, "a restart forgets or invents something"
        if before.plot:
            self.station.open(before.plot, before.who)

    def stored(self) -> list[Row]:
        with self.folder.reading() as reader:
            return [row_of(reading) for reading in current(reader.readings())]

    def close(self) -> None:
        self.station.close()


def survey_folder(table: StationTable) -> SurveyFolder:
    return table.folder
