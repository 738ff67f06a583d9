"""A Darwin Core archive of sampling events; ``darwincore_read`` takes it back.

Core: one Event a plot, and one a measured stem with the plot's as parent, since extensions may link
to the core only. Extensions: Occurrence (the stem seen) and MeasurementOrFact (diameter, state,
height of measurement, graduation; what a plot is; notes; trees of the roster). Terms and text
guide: TDWG (Darwin Core, http://rs.tdwg.org/dwc/). What no other term holds stands in
dynamicProperties, as JSON. What it cannot hold: sounds, the journal, settings of checks and
listening, a difference between empty and absent.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from callout.reports.exchange.cells import WRITTEN, extra_columns, extra_plot_columns, text_rows
from callout.reports.exchange.darwincore_terms import DWC, PLOT_TERMS, TABLES, TEXT
from callout.reports.exchange.dataset import FURTHER_TABLES, Dataset
from callout.reports.exchange.eml import eml
from callout.reports.exchange.metadata import About
from callout.reports.exchange.scientific import Named, scientific_names
from callout.reports.identities import identified
from callout.reports.spreadsheets import guarded, plain_number
from callout.reports.stand.columns import LIVE, LOST, PLOT_COLUMNS
from callout.survey.files import storage_errors
from callout.survey.species_table import reference_species

# Provenance of each row: only what was called out here is described as such.
PROTOCOLS = {
    "voice": "diameter tape; the size called out, recognised, repeated aloud and confirmed",
    "tape": "electronic diameter tape; the size repeated and confirmed",
    "typed": "diameter tape; the size typed, repeated and confirmed",
    "key": "diameter tape; confirmed by a key",
}
CALLED = "diameter tape; the size repeated and confirmed"
OTHERWISE = "taken over from an earlier table or roster; how it was measured is not told"
PLOT_PROTOCOL = "diameters of tagged stems"
UNIT_FACT, HEIGHT_FACT = "unit of diameters", "height of measurement in the plot"
# Columns with terms or facts of their own; a row's other columns go into dynamicProperties.
_ELSEWHERE = {"measurement_id", "time", "who", "graduation"}
_CONTROLS = re.compile(r"[\x00-\x1f\x7f\x85\u2028\u2029]")
# A zip's members have a time stamp; a fixed one makes equal data give equal bytes.
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
Row = tuple[str, Sequence[str]]


def write_archive(path: Path, data: Dataset, about: About, scientific: Named | None = None) -> Path:
    """Write the zipped archive to ``path``.

    ``scientific`` gives the scientific name for a roster's name (None: the reference list's).
    """
    named = scientific or scientific_names(reference_species())
    rows: dict[str, list[Sequence[str]]] = {name: [] for name in TABLES}
    for rows_of in (_plot_rows(data), _stem_rows(data, about, named), _further_rows(data)):
        for table, row in rows_of:
            rows[table].append(row)
    with storage_errors(f"cannot write {path}"):
        path.parent.mkdir(parents=True, exist_ok=True)
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            _add(archive, "meta.xml", _meta())
            _add(archive, "eml.xml", eml(about, data, named))
            for name, (_, terms) in TABLES.items():
                _add(archive, name, _csv(terms, rows[name]))
    return path


def _add(archive: zipfile.ZipFile, name: str, text: str) -> None:
    member = zipfile.ZipInfo(name, _ZIP_TIME)
    member.compress_type = zipfile.ZIP_DEFLATED
    archive.writestr(member, text.encode("utf-8"))


def _csv(terms: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerow(terms)
    # Many archive readers take a line for a row, quoted or not.
    bare = [term.startswith("decimalL") for term in terms]
    writer.writerows(
        [
            cell if number and plain_number(cell) else guarded(_CONTROLS.sub(" ", cell))
            for cell, number in zip(row, bare, strict=True)
        ]
        for row in rows
    )
    return text.getvalue()


def _row(table: str, cells: Mapping[str, str]) -> Row:
    return table, [cells.get(term, "") for term in TABLES[table][1]]


def _fact(event: str, kind: str, value: str, **other: str) -> Row:
    cells = {
        "eventID": event,
        "measurementID": f"{event}:{kind}",
        "measurementType": kind,
        "measurementValue": value,
    }
    cells.update({f"measurement{name}": text for name, text in other.items()})
    return _row("measurementorfact.csv", cells)


def properties(cells: Mapping[str, str]) -> str:
    """Texts as JSON on one line, '' for none; empty ones are left out."""
    told = {name: text for name, text in cells.items() if text}
    return json.dumps(told, ensure_ascii=True) if told else ""


def _exact(cells: Mapping[str, str], names: Sequence[str]) -> dict[str, str]:
    """Cells whose text a line of CSV would change: written as JSON too."""
    return {name: cells[name] for name in names if _CONTROLS.search(cells[name])}


def _plot_rows(data: Dataset) -> Iterator[Row]:
    further = extra_plot_columns(data.plots)
    columns = [*PLOT_COLUMNS, *further]
    for cells in text_rows(data.plots, columns):
        row = dict(zip(columns, cells, strict=True))
        event = f"plot:{row['plot']}"
        terms = {
            "eventID": event,
            "eventType": "Plot",
            "locationID": row["plot"],
            "samplingProtocol": PLOT_PROTOCOL,
            "sampleSizeValue": row["area_ha"],
            "sampleSizeUnit": "hectare" if row["area_ha"] else "",
            "geodeticDatum": "WGS84" if row.get("latitude") else "",
            "dynamicProperties": properties(_exact(row, columns)),
            **{term: row.get(name, "") for name, term in PLOT_TERMS.items()},
        }
        yield _row("event.csv", terms)
        yield _fact(event, UNIT_FACT, row["unit"])
        if row["breast_height_m"]:
            yield _fact(event, HEIGHT_FACT, row["breast_height_m"], Unit="m")
        for name in ("treatment", *further):
            if row[name] and name not in PLOT_TERMS:
                yield _fact(event, name, row[name])


def _stem_rows(data: Dataset, about: About, named: Named) -> Iterator[Row]:
    measurements = identified(data.measurements, about.title)
    extra = extra_columns(measurements)
    columns = [*WRITTEN, *extra]
    kept = [name for name in extra if name not in _ELSEWHERE]
    for cells in text_rows(measurements, columns):
        row = dict.fromkeys(("who", "time", "graduation", "entered_by", "warnings"), "")
        row.update(zip(columns, cells, strict=True))
        event = row["measurement_id"]
        exact = _exact(row, [*WRITTEN, *_ELSEWHERE])
        if row["time"]:
            exact["date"] = row["date"]  # beside a time, which has an offset of its own
        further = properties({**{name: row[name] for name in kept}, **exact})
        yield _row("event.csv", _stem_event(event, row, further))
        yield _row("occurrence.csv", _occurrence(event, row, named))
        yield from _stem_facts(event, row)


def _stem_event(event: str, row: Mapping[str, str], further: str) -> dict[str, str]:
    return {
        "eventID": event,
        "parentEventID": f"plot:{row['plot']}",
        "eventType": "Observation",
        "eventDate": row["time"] or row["date"],
        "locationID": row["plot"],
        "fieldNumber": row["tag"],
        "samplingProtocol": protocol(row),
        "eventRemarks": _remarks(row),
        "dynamicProperties": further,
    }


def protocol(row: Mapping[str, str]) -> str:
    """The provenance of a row, as far as it is known."""
    if row["source"] != "callout":
        return OTHERWISE
    return PROTOCOLS.get(row["entered_by"], CALLED)


def _remarks(row: Mapping[str, str]) -> str:
    """What a reader must know of the row: warnings, another recorder's reading, a ruling."""
    told = [
        f"{words}: {row[name]}"
        for name, words in (
            ("warnings", "warned"),
            ("disagrees", "unsettled, another recorder read"),
            ("ruling", "ruled"),
            ("tag_note", "tag"),
        )
        if row.get(name)
    ]
    return "; ".join(told)


def _occurrence(event: str, row: Mapping[str, str], named: Named) -> dict[str, str]:
    absent = row["status"] in LOST
    known = "alive" if row["status"] == LIVE else "dead"
    scientific = named(row["species"])
    words = len(scientific.removesuffix(".").split())
    sure = words > 1 and scientific.split()[1] not in ("sp.", "spp.", "sp", "spp")
    stem = f"/{row['stem']}" if row["stem"] else ""
    return {
        "eventID": event,
        "occurrenceID": f"{event}:stem",
        "basisOfRecord": "HumanObservation",
        "occurrenceStatus": "absent" if absent else "present",
        "organismID": f"{row['tree_id']}{stem}",
        "scientificName": scientific or "Plantae",
        "taxonRank": ("species" if sure else "genus") if scientific else "kingdom",
        "kingdom": "Plantae",
        "vernacularName": "" if scientific == row["species"] else row["species"],
        "verbatimIdentification": row["species"],
        "vitality": "" if absent else known,
        "recordedBy": row["who"],
        "eventDate": row["time"] or row["date"],
    }


def _stem_facts(event: str, row: Mapping[str, str]) -> Iterator[Row]:
    whose = {"DeterminedBy": row["who"], "DeterminedDate": row["time"] or row["date"]}
    height = f" at {row['measured_height_m']} m" if row["measured_height_m"] else ""
    yield _fact(
        event,
        "diameter",
        row["value"],
        Unit=row["unit"],
        Method=f"diameter tape{height}",
        Remarks=_remarks(row),
        **whose,
    )
    yield _fact(event, "state of the stem", row["status"], **whose)
    if row["measured_height_m"]:
        yield _fact(event, "height of measurement", row["measured_height_m"], Unit="m", **whose)
    if row["graduation"]:
        yield _fact(event, "graduation of the tape", row["graduation"], Unit=row["unit"], **whose)
    for name in ("stem", "source"):
        if row[name]:
            yield _fact(event, name, row[name], **whose)


def _further_rows(data: Dataset) -> Iterator[Row]:
    """Each row of a further table as a fact of its plot: its main column, the rest as JSON."""
    for table, (words, chief) in FURTHER_TABLES.items():
        frame = data.further.get(table)
        if frame is None:
            continue
        columns = [str(name) for name in frame.columns]
        for at, cells in enumerate(text_rows(frame, columns), 1):
            row = dict(zip(columns, cells, strict=True))
            yield _fact(
                f"plot:{row['plot']}",
                f"{words} {at}",
                row.get(chief, ""),
                DeterminedDate=row.get("time", ""),
                Method=words,
                Remarks=json.dumps(row, ensure_ascii=True),
            )


def _meta() -> str:
    parts = [f'<archive xmlns="{TEXT}" metadata="eml.xml">']
    for at, (name, (kind, terms)) in enumerate(TABLES.items()):
        tag, key = ("extension", "coreid") if at else ("core", "id")
        fields = "".join(
            f'<field index="{index}" term="{DWC}{term}"/>'
            for index, term in enumerate(terms)
            if index or not at
        )
        parts.append(
            f'<{tag} encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" '
            f'fieldsEnclosedBy=\'"\' ignoreHeaderLines="1" rowType="{DWC}{kind}">'
            f'<files><location>{name}</location></files><{key} index="0"/>{fields}</{tag}>'
        )
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + "\n".join([*parts, "</archive>"]) + "\n"
