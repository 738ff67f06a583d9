"""Reads back a Darwin Core archive written by ``darwincore``, and no other."""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.exchange.cells import WRITTEN, measurements_from, plots_from
from callout.reports.exchange.darwincore import HEIGHT_FACT, UNIT_FACT
from callout.reports.exchange.darwincore_terms import DWC, PLOT_TERMS, TABLES, TEXT
from callout.reports.exchange.datapackage import text_table
from callout.reports.exchange.dataset import FURTHER_TABLES, Dataset
from callout.reports.exchange.eml import WHOLE
from callout.reports.exchange.metadata import About, about_from
from callout.reports.stand.columns import PLOT_COLUMNS
from callout.survey.archives import MOST_XML_BYTES, json_of, open_archive

_BROKEN = (
    OSError,
    EOFError,
    KeyError,
    TypeError,
    ValueError,
    RuntimeError,
    NotImplementedError,
    zlib.error,
    ElementTree.ParseError,
    zipfile.BadZipFile,
)
Facts = dict[str, dict[str, str]]
_WORDS = {words: table for table, (words, _) in FURTHER_TABLES.items()}


def read_archive(path: Path) -> Dataset:
    """The content of an archive written by this program. Raises OperatorError for any other."""
    try:
        with open_archive(path) as archive:
            described = _described(archive.read("meta.xml", MOST_XML_BYTES).decode("utf-8"))
            if described != {name: terms for name, (_, terms) in TABLES.items()}:
                raise OperatorError(f"{path} is laid out by another program: columns differ")
            tables = {
                name: text_table(archive.read(name).decode("utf-8")).to_dict("records")
                for name in TABLES
            }
            about = _about(archive.read("eml.xml", MOST_XML_BYTES).decode("utf-8"))
        return _dataset(tables, about)
    except _BROKEN as error:
        raise OperatorError(f"{path} is no archive of this program: {error}") from None


def _described(meta: str) -> dict[str, tuple[str, ...]]:
    found = {}
    for part in _parsed(meta):
        location = part.findtext(f"{{{TEXT}}}files/{{{TEXT}}}location") or ""
        terms = {
            int(field.attrib["index"]): field.attrib["term"].removeprefix(DWC)
            for field in part.findall(f"{{{TEXT}}}field")
        }
        terms.setdefault(0, "eventID")
        found[location] = tuple(terms[index] for index in sorted(terms))
    return found


def _parsed(xml: str) -> ElementTree.Element:
    if "<!DOCTYPE" in xml:  # external entities are never expanded
        raise OperatorError("its XML declares a document type: refused")
    return ElementTree.fromstring(xml)


def _about(xml: str) -> About | None:
    whole = next((item.text for item in _parsed(xml).iter() if item.tag.endswith(WHOLE)), None)
    return about_from(json_of(whole)) if whole else None


def _dataset(tables: Mapping[str, list[dict[str, str]]], about: About | None) -> Dataset:
    facts: dict[str, Facts] = {}
    further: dict[str, list[dict[str, str]]] = {}
    for fact in tables["measurementorfact.csv"]:
        table = _WORDS.get(fact["measurementMethod"])
        if table:
            further.setdefault(table, []).append(json_of(fact["measurementRemarks"]))
        else:
            facts.setdefault(fact["eventID"], {})[fact["measurementType"]] = fact
    species = {row["eventID"]: row["verbatimIdentification"] for row in tables["occurrence.csv"]}
    plots, stems = [], []
    for event in tables["event.csv"]:
        own = facts.get(event["eventID"], {})
        if event["eventType"] == "Plot":
            plots.append(_plot_cells(event, own))
        else:
            stems.append(_stem_cells(event, own, species[event["eventID"]]))
    return Dataset(
        measurements_from(_frame(stems, WRITTEN)),
        plots_from(_frame(plots, PLOT_COLUMNS)),
        {name: _frame(rows, ("plot",)) for name, rows in further.items()},
        about=about,
    )


def _frame(rows: list[dict[str, str]], first: tuple[str, ...]) -> pd.DataFrame:
    columns = list(dict.fromkeys([*first, *(name for row in rows for name in row)]))
    cells = [[row.get(name, "") for name in columns] for row in rows]
    return pd.DataFrame(cells, columns=columns, dtype=object)


def _value(facts: Facts, kind: str) -> str:
    return facts.get(kind, {}).get("measurementValue", "")


def _plot_cells(event: dict[str, str], facts: Facts) -> dict[str, str]:
    row = {
        "plot": event["locationID"],
        "area_ha": event["sampleSizeValue"],
        "unit": _value(facts, UNIT_FACT),
        "breast_height_m": _value(facts, HEIGHT_FACT),
        "treatment": "",
    }
    row.update(
        {kind: _value(facts, kind) for kind in facts if kind not in (UNIT_FACT, HEIGHT_FACT)}
    )
    row.update({name: event[term] for name, term in PLOT_TERMS.items() if event[term]})
    return {**row, **_exact(event)}


def _stem_cells(event: dict[str, str], facts: Facts, species: str) -> dict[str, str]:
    diameter = facts["diameter"]
    row = {
        "plot": event["locationID"],
        "tag": event["fieldNumber"],
        "species": species,
        "date": event["eventDate"],
        "value": diameter["measurementValue"],
        "unit": diameter["measurementUnit"],
        "status": _value(facts, "state of the stem"),
        "measured_height_m": _value(facts, "height of measurement"),
        "stem": _value(facts, "stem"),
        "source": _value(facts, "source"),
        "measurement_id": event["eventID"],
    }
    exact = _exact(event)
    if "date" in exact:
        row["time"] = event["eventDate"]
    for name, text in (
        ("who", diameter["measurementDeterminedBy"]),
        ("graduation", _value(facts, "graduation of the tape")),
    ):
        if text:
            row[name] = text
    return {**row, **exact}


def _exact(event: Mapping[str, str]) -> dict[str, str]:
    found = json_of(event["dynamicProperties"] or "{}")
    if not isinstance(found, dict) or not all(isinstance(text, str) for text in found.values()):
        raise OperatorError(f"dynamicProperties of {event['eventID']} are none of ours")
    return found
