"""``survey.toml``: how each plot is measured, and how the station listens and speaks.

Written once with comments (``new_settings.py``), edited by people, and read back with every mistake
reported. Sizes are text in the file, so that they stay exact.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError, OperatorError
from callout.core.given import (
    Reader,
    above_zero,
    boolean,
    exact,
    member,
    number,
    one_of,
    read_table,
    section,
    text,
    whole,
)
from callout.core.heights import parse_height_m
from callout.core.model import PlotSettings
from callout.core.rounding import Rounding
from callout.core.units import Scale, Unit, parse_unit, too_large
from callout.survey import plot_facts
from callout.survey.settings_file import ENGLISH, read_settings


@dataclass(frozen=True)
class Listening:
    """How the station hears. Times in seconds; ``engine`` may be ``auto``."""

    engine: str = "auto"
    vosk_model: str = ""
    microphone: str = ""
    hang_over_s: float | None = None
    pre_roll_s: float | None = None
    gate_least_dbfs: float | None = None
    reminder_s: float = 20.0
    join_s: float = 30.0
    check_in_s: float = 0.0
    push_to_talk: bool = False
    duplex: str = "half"


DUPLEXES = ("half", "headset", "loudspeaker")
"""Not hearing while the voice speaks; hearing on; hearing on with our own voice taken out."""
ECHOES = ("auto", "full", "brief", "tones")
"""``auto`` is full in a person's first plot, then brief."""


@dataclass(frozen=True)
class Speaking:
    """How the echo is spoken. ``words_a_minute`` is the voice's rate, ``echo`` how much it says."""

    voice: str = "en"
    words_a_minute: int = 180
    echo: str = "auto"
    speaker: str = ""
    muted: bool = False


@dataclass(frozen=True)
class Keeping:
    """The sound kept besides the callouts. A segment is in seconds; sizes in 10^6 bytes."""

    whole_session: bool = False
    segment_s: int = 60
    mb_an_hour: int = 40


@dataclass(frozen=True)
class _About:
    """The survey's name and spoken language."""

    name: str = ""
    language: str = ENGLISH


_SECTIONS = ("survey", "measuring", "plots", "listening", "speaking", "keeping")


@dataclass(frozen=True)
class Config:
    """The whole of ``survey.toml``; ``plots`` holds the settings of single plots."""

    name: str
    language: str
    measuring: PlotSettings
    plots: Mapping[str, PlotSettings]
    listening: Listening = field(default_factory=Listening)
    speaking: Speaking = field(default_factory=Speaking)
    keeping: Keeping = field(default_factory=Keeping)
    other: Mapping[str, Any] = field(default_factory=dict)

    def of(self, plot: str) -> PlotSettings:
        """The settings of ``plot``: its own over the survey's."""
        return self.plots.get(plot) or _for_plot(self.measuring, plot)


def _for_plot(settings: PlotSettings, plot: str) -> PlotSettings:
    return PlotSettings(**{**settings.__dict__, "plot": plot})


_SIZES: dict[Unit, tuple[str, str]] = {
    Unit.INCH: ("0.4", "80"),
    Unit.CENTIMETRE: ("1", "200"),
    Unit.MILLIMETRE: ("10", "2000"),
}


def plausible_range(unit: Unit) -> tuple[Decimal, Decimal]:
    """The default range of sizes for tapes in ``unit`` (an assumption, can be set)."""
    smallest, largest = _SIZES.get(unit, ("0.01", "2"))
    return Decimal(smallest), Decimal(largest)


# Keys of survey.toml that differ from the setting's name.
_NAMED = {"breast_height": "breast_height_m"}
_MEASURING: dict[str, Reader] = {
    "unit": lambda value: parse_unit(str(value)),
    "graduation": above_zero,
    "rounding": member(Rounding),
    "scale": member(Scale),
    "breast_height": lambda value: parse_height_m(str(value)),
    "smallest": above_zero,
    "largest": exact,
    "implied_point": boolean,
    "decimal_comma": boolean,
    "area_ha": above_zero,
    "treatment": str,
    "site": plot_facts.word,
    "shape": one_of(*plot_facts.SHAPES),
    "established": plot_facts.established,
    "paint_line": boolean,
}
MEASURING = {key: _NAMED.get(key, key) for key in _MEASURING}
"""The settings of ``[measuring]`` and ``[plots.NAME]``: key to name in ``PlotSettings``."""


def measuring_from(plot: str, given: Mapping[str, Any], over: PlotSettings | None) -> PlotSettings:
    """Settings from a table of ``survey.toml``, over those of the survey.

    Raises OperatorError naming the key and value that cannot be used.
    """
    values = {MEASURING[key]: value for key, value in read_table(given, _MEASURING).items()}
    base = dict(over.__dict__) if over else {}
    unit = values.get("unit")
    if unit is not None and (over is None or unit is not over.unit):
        smallest, largest = plausible_range(unit)
        base.update(smallest=smallest, largest=largest)
    settings = PlotSettings(**{**base, **values, "plot": plot})
    if too_large(settings.largest, settings.unit):
        raise OperatorError(
            f"largest {settings.largest} {settings.unit.value} is wider than any tree"
        )
    if settings.smallest >= settings.largest:
        raise OperatorError(f"smallest {settings.smallest} is not below largest {settings.largest}")
    return settings


def read_config(path: Path) -> Config:
    """The settings at ``path``. Raises OperatorError naming what cannot be used."""
    given = read_settings(path)
    try:
        return _config(given)
    except CalloutError as error:
        raise OperatorError(f"{path}: {error}") from None
    except ValueError as error:
        raise OperatorError(f"{path} cannot be read as settings: {error}") from None


def _config(given: Mapping[str, Any]) -> Config:
    other = {name: table for name, table in given.items() if name not in _SECTIONS}
    for name in other:
        # A misspelt section would silently leave its settings at their defaults.
        close = difflib.get_close_matches(name.lower(), (*_SECTIONS, "checks"), 1)
        if close and name != "checks":
            raise OperatorError(f"unknown section {name!r}: is {close[0]!r} meant?")
    survey = _section(_About, "survey", given)
    measuring = _measuring("measuring", _table_of("measuring", given), "", None)
    plots = _table_of("plots", given)
    return Config(
        name=survey.name,
        language=survey.language,
        measuring=measuring,
        plots={
            name: _measuring(f"plots.{name}", _table_of(name, plots), name, measuring)
            for name in plots
        },
        listening=_section(Listening, "listening", given),
        speaking=_section(Speaking, "speaking", given),
        keeping=_section(Keeping, "keeping", given),
        other=other,
    )


def _measuring(
    section: str, table: Mapping[str, Any], plot: str, over: PlotSettings | None
) -> PlotSettings:
    try:
        return measuring_from(plot, table, over)
    except OperatorError as error:
        raise OperatorError(f"[{section}] {error}") from None


def _table_of(name: str, given: Mapping[str, Any]) -> Mapping[str, Any]:
    return section(name, given.get(name, {}))


_SECONDS, _COUNT = number(0, 86_400, "seconds"), whole(1, 10**9)
_READERS: dict[type[Any], dict[str, Reader]] = {
    _About: {"name": text, "language": text},
    Listening: {
        "engine": text,
        "vosk_model": text,
        "microphone": text,
        "hang_over_s": _SECONDS,
        "pre_roll_s": _SECONDS,
        "gate_least_dbfs": number(-96, 0, "dBFS"),
        "reminder_s": _SECONDS,
        "join_s": _SECONDS,
        "check_in_s": _SECONDS,
        "push_to_talk": boolean,
        "duplex": one_of(*DUPLEXES),
    },
    Speaking: {
        "voice": text,
        "words_a_minute": _COUNT,
        "echo": one_of(*ECHOES),
        "speaker": text,
        "muted": boolean,
    },
    Keeping: {"whole_session": boolean, "segment_s": _COUNT, "mb_an_hour": _COUNT},
}


def _section(kind: type[Any], name: str, given: Mapping[str, Any]) -> Any:
    try:
        return kind(**read_table(_table_of(name, given), _READERS[kind]))
    except OperatorError as error:
        raise OperatorError(f"[{name}] {error}") from None
