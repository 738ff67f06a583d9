"""The text of a new ``survey.toml``, with a comment on each setting. Read back by ``config``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit

from callout.core.model import PlotSettings
from callout.survey.config import MEASURING


def new_settings(name: str, measuring: PlotSettings, plots: Mapping[str, PlotSettings]) -> str:
    """The commented text of a new ``survey.toml``."""
    document = tomlkit.document()
    document.add(tomlkit.comment("Settings of this survey. Sizes stay in quotes: they are exact."))
    survey = tomlkit.table()
    survey.add("name", name)
    survey.add("language", "en")
    document.add("survey", survey)
    document.add("measuring", _measuring_table(measuring))
    tables = tomlkit.table(is_super_table=True)
    for plot, settings in plots.items():
        tables.add(plot, _measuring_table(settings))
    if plots:
        document.add("plots", tables)
    else:
        document.add(tomlkit.comment("A plot that differs gets a table of its own, e.g."))
        document.add(tomlkit.comment('[plots.K1]  unit = "in"'))
    document.add("listening", _listening_table())
    document.add("speaking", _speaking_table())
    document.add("keeping", _keeping_table())
    return tomlkit.dumps(document)


_NOTES = {
    "unit": "in, cm or mm: what the tape shows and what is kept",
    "graduation": "the tape's finest graduation",
    "rounding": "nearest, or down to the last whole graduation",
    "scale": "diameter, or girth (divided by pi, then rounded)",
    "breast_height": "metres above ground, uphill side",
    "smallest": "below this a size is questioned",
    "largest": "above this a size is questioned",
    "implied_point": 'whether "twenty-four six" is 24.6',
    "decimal_comma": "whether a typed 11,2 is 11.2",
    "area_ha": "hectares, for figures a hectare",
    "treatment": "a word, to compare treated plots with the control",
    "site": "where the plot lies",
    "shape": "circle, square, rectangle, strip or irregular",
    "established": "year or day",
    "paint_line": "whether the height of measurement is painted on the trees",
}


def _measuring_table(settings: PlotSettings) -> Any:
    table = tomlkit.table()
    for key, name in MEASURING.items():
        value = getattr(settings, name)
        if value is None or value == "":
            continue  # not known: a person may add it
        plain = value if isinstance(value, bool) else getattr(value, "value", str(value))
        item = tomlkit.item(plain)
        table.add(key, item.comment(_NOTES[key]))
    return table


def _table(*rows: tuple[str, Any, str]) -> Any:
    table = tomlkit.table()
    for key, value, note in rows:
        item = tomlkit.item(value)
        table.add(key, item.comment(note) if note else item)
    return table


def _listening_table() -> Any:
    return _table(
        ("engine", "auto", "auto takes the best that is at hand"),
        ("vosk_model", "", "folder of a Vosk model, if you have one"),
        ("microphone", "", "part of its name; empty takes the system's default"),
        ("reminder_s", 20.0, "seconds before a waiting question is asked again"),
        ("join_s", 30.0, "seconds within which a tag and a press of the tape belong together"),
        ("check_in_s", 0.0, "alone: asked this often whether you are well; 0 never; calls nobody"),
        ("duplex", "half", "half; headset or loudspeaker: hears on while it speaks"),
        ("push_to_talk", False, "true: the microphone is open for one callout after a key"),
    )


def _speaking_table() -> Any:
    return _table(
        ("voice", "en", "a voice of espeak-ng, e.g. en-us"),
        ("words_a_minute", 180, ""),
        ("echo", "auto", "full, brief or tones; auto: full in a first plot, then brief"),
        ("speaker", "", "part of its name; empty takes the system's default"),
        ("muted", False, "true: the echo is only shown"),
    )


def _keeping_table() -> Any:
    return _table(
        ("whole_session", False, "true: keep all sound of a session; ask those in hearing first"),
        ("segment_s", 60, "seconds of one file of it"),
        ("mb_an_hour", 40, "the most it may take, by coarser sound where it is loud"),
    )
