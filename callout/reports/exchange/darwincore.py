"""A Darwin Core archive of sampling events, and back.

Core: one Event a plot, and one a measured stem with the plot's as parent, since extensions may link
to the core only. Extensions: Occurrence (the stem seen) and MeasurementOrFact (diameter, state,
height of measurement). Terms and text guide: TDWG (Darwin Core, http://rs.tdwg.org/dwc/). What it
cannot hold: sounds, settings of the survey, a difference
between empty and absent, and line ends and tabs inside a text (they become spaces).
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from xml.etree import ElementTree
from xml.sax.saxutils import escape, quoteattr

import pandas as pd

from callout.core.errors import OperatorError
from callout.journal.files import storage_errors
from callout.reports.exchange.cells import (
    WRITTEN,
    About,
    extra_columns,
    guarded,
    measurements_from,
    plots_from,
    text_rows,
)
from callout.reports.exchange.datapackage import split_rows
from callout.reports.stand.columns import PLOT_COLUMNS

DWC = "http://rs.tdwg.org/dwc/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
EVENT = (
    "eventID", "parentEventID", "eventType", "eventDate", "locationID", "fieldNumber",
    "samplingProtocol", "sampleSizeValue", "sampleSizeUnit",
)  # fmt: skip
OCCURRENCE = (
    "eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "organismID", "scientificName",
    "verbatimIdentification", "vitality", "recordedBy", "eventDate",
)  # fmt: skip
FACT = (
    "eventID", "measurementID", "measurementType", "measurementValue", "measurementAccuracy",
    "measurementUnit", "measurementDeterminedBy", "measurementDeterminedDate", "measurementMethod",
    "measurementRemarks",
)  # fmt: skip
TABLES = {
    "event.csv": ("Event", EVENT),
    "occurrence.csv": ("Occurrence", OCCURRENCE),
    "measurementorfact.csv": ("MeasurementOrFact", FACT),
}
PROTOCOL = "diameter of tagged stems by diameter tape, called, repeated and confirmed"
_CONTROLS = re.compile(r"[\x00-\x1f\x7f\x85\u2028\u2029]")
_OTHER = "other: "
# A zip's members carry a time; a fixed one makes equal data give equal bytes.
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)


def write_archive(
    path: Path, measurements: pd.DataFrame, plots: pd.DataFrame, about: About
) -> Path:
    """Write the zipped archive to ``path``."""
    rows: dict[str, list[Sequence[str]]] = {name: [] for name in TABLES}
    for table, row in (*_plot_rows(plots), *_stem_rows(measurements)):
        rows[table].append(row)
    with storage_errors(f"cannot write {path}"):
        path.parent.mkdir(parents=True, exist_ok=True)
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            _add(archive, "meta.xml", _meta())
            _add(archive, "eml.xml", _eml(about))
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
    # Many readers of archives take a line for a row, quoted or not.
    writer.writerows([guarded(_CONTROLS.sub(" ", cell)) for cell in row] for row in rows)
    return text.getvalue()


def _fact(event: str, kind: str, value: str, **other: str) -> tuple[str, Sequence[str]]:
    cells = {"eventID": event, "measurementID": f"{event}:{kind}", "measurementType": kind}
    cells["measurementValue"] = value
    cells.update({f"measurement{name}": text for name, text in other.items()})
    return "measurementorfact.csv", [cells.get(term, "") for term in FACT]


def _plot_rows(plots: pd.DataFrame) -> Iterator[tuple[str, Sequence[str]]]:
    for name, area, unit, height, treatment in text_rows(plots, PLOT_COLUMNS):
        event = f"plot:{name}"
        cells = {
            "eventID": event, "eventType": "Plot", "locationID": name,
            "samplingProtocol": PROTOCOL, "sampleSizeValue": area,
            "sampleSizeUnit": "hectare" if area else "",
        }  # fmt: skip
        yield "event.csv", [cells.get(term, "") for term in EVENT]
        yield _fact(event, "unit of diameters", unit)
        if height:
            yield _fact(event, "height of measurement in the plot", height, Unit="m")
        if treatment:
            yield _fact(event, "treatment", treatment)


def _stem_rows(measurements: pd.DataFrame) -> Iterator[tuple[str, Sequence[str]]]:
    extra = extra_columns(measurements)
    for at, cells in enumerate(text_rows(measurements, [*WRITTEN, *extra]), 1):
        row = dict(zip([*WRITTEN, *extra], cells, strict=True))
        event = f"measuring:{at}"
        yield "event.csv", _stem_event(event, row)
        yield "occurrence.csv", _occurrence(event, row)
        yield from _stem_facts(event, row, extra)


def _stem_event(event: str, row: dict[str, str]) -> Sequence[str]:
    cells = {
        "eventID": event, "parentEventID": f"plot:{row['plot']}", "eventType": "Observation",
        "eventDate": row["date"], "locationID": row["plot"], "fieldNumber": row["tag"],
        "samplingProtocol": PROTOCOL,
    }  # fmt: skip
    return [cells.get(term, "") for term in EVENT]


def _occurrence(event: str, row: dict[str, str]) -> Sequence[str]:
    absent = row["status"] in ("missing", "not found")
    known = "alive" if row["status"] == "live" else "dead"
    stem = f"/{row['stem']}" if row["stem"] else ""
    cells = {
        "eventID": event, "occurrenceID": f"{event}:stem", "basisOfRecord": "HumanObservation",
        "occurrenceStatus": "absent" if absent else "present",
        "organismID": f"{row['plot']}/{row['tag']}{stem}", "scientificName": row["species"],
        "verbatimIdentification": row["species"], "vitality": "" if absent else known,
        "recordedBy": row.get("who", ""), "eventDate": row["date"],
    }  # fmt: skip
    return [cells.get(term, "") for term in OCCURRENCE]


def _stem_facts(
    event: str, row: dict[str, str], extra: Sequence[str]
) -> Iterator[tuple[str, Sequence[str]]]:
    whose = {"DeterminedBy": row.get("who", ""), "DeterminedDate": row["date"]}
    graduation = row.get("graduation", "")
    height = f" at {row['measured_height_m']} m" if row["measured_height_m"] else ""
    yield _fact(
        event, "diameter", row["value"], Unit=row["unit"], Accuracy=graduation,
        Method=f"diameter tape{height}",
        Remarks="accuracy is the tape's graduation" if graduation else "", **whose,
    )  # fmt: skip
    yield _fact(event, "state of the stem", row["status"], **whose)
    if row["measured_height_m"]:
        yield _fact(event, "height of measurement", row["measured_height_m"], Unit="m", **whose)
    for name in ("stem", "source"):
        if row[name]:
            yield _fact(event, name, row[name], **whose)
    for name in extra:
        if row[name] and name not in ("who", "graduation"):
            yield _fact(event, f"{_OTHER}{name}", row[name], **whose)


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


def _eml(about: About) -> str:
    """Minimal Ecological Metadata Language 2.2.0: title, creator, date, abstract, contact."""
    title, creator = escape(about.title), escape(about.creator)
    party = f"<organizationName>{creator}</organizationName>"
    package = quoteattr(f"{about.title} {about.created}")
    licence = escape(about.licence or "not told")
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<eml:eml xmlns:eml="https://eml.ecoinformatics.org/eml-2.2.0" '
        f'packageId={package} system="local">\n<dataset><title>{title}</title>\n'
        f"<creator>{party}</creator>\n<pubDate>{escape(about.created[:10])}</pubDate>\n"
        f"<abstract><para>{escape(about.description or about.title)}</para></abstract>\n"
        f"<intellectualRights><para>{licence}</para></intellectualRights>\n"
        f"<contact>{party}</contact></dataset>\n</eml:eml>\n"
    )


def read_archive(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The frames of an archive that this program wrote. Raises OperatorError for any other."""
    try:
        with zipfile.ZipFile(path) as archive:
            described = _described(archive.read("meta.xml").decode("utf-8"))
            if described != {name: terms for name, (_, terms) in TABLES.items()}:
                raise OperatorError(f"{path} is laid out by another program: columns differ")
            tables = {name: _table(archive.read(name).decode("utf-8")) for name in TABLES}
        return _frames(tables)
    except (OSError, KeyError, ValueError, ElementTree.ParseError, zipfile.BadZipFile) as error:
        raise OperatorError(f"{path} is no archive of this program: {error}") from None


def _described(meta: str) -> dict[str, tuple[str, ...]]:
    if "<!DOCTYPE" in meta:  # no entity of a stranger is expanded
        raise OperatorError("its meta.xml declares a document type: refused")
    found = {}
    for part in ElementTree.fromstring(meta):
        location = part.findtext(f"{{{TEXT}}}files/{{{TEXT}}}location") or ""
        terms = {
            int(field.attrib["index"]): field.attrib["term"].removeprefix(DWC)
            for field in part.findall(f"{{{TEXT}}}field")
        }
        terms.setdefault(0, "eventID")
        found[location] = tuple(terms[index] for index in sorted(terms))
    return found


def _table(text: str) -> list[dict[str, str]]:
    rows, header = split_rows(csv.reader(io.StringIO(text, newline="")))
    return [dict(zip(header, row, strict=True)) for row in rows]


def _frames(tables: dict[str, list[dict[str, str]]]) -> tuple[pd.DataFrame, pd.DataFrame]:
    facts: dict[str, dict[str, dict[str, str]]] = {}
    for fact in tables["measurementorfact.csv"]:
        facts.setdefault(fact["eventID"], {})[fact["measurementType"]] = fact
    species = {row["eventID"]: row["verbatimIdentification"] for row in tables["occurrence.csv"]}
    plots, stems = [], []
    for event in tables["event.csv"]:
        own = facts.get(event["eventID"], {})
        if event["eventType"] == "Plot":
            plots.append(_plot_cells(event, own))
        else:
            stems.append(_stem_cells(event, own, species[event["eventID"]]))
    extra = sorted({name for row in stems for name in row} - {*WRITTEN})
    columns = [*WRITTEN, *extra]
    rows = [[row.get(name, "") for name in columns] for row in stems]
    return measurements_from(rows, columns), plots_from(plots, PLOT_COLUMNS)


def _value(facts: dict[str, dict[str, str]], kind: str) -> str:
    return facts.get(kind, {}).get("measurementValue", "")


def _plot_cells(event: dict[str, str], facts: dict[str, dict[str, str]]) -> list[str]:
    return [
        event["locationID"],
        event["sampleSizeValue"],
        _value(facts, "unit of diameters"),
        _value(facts, "height of measurement in the plot"),
        _value(facts, "treatment"),
    ]


def _stem_cells(
    event: dict[str, str], facts: dict[str, dict[str, str]], species: str
) -> dict[str, str]:
    diameter = facts["diameter"]
    row = {
        "plot": event["locationID"], "tag": event["fieldNumber"], "species": species,
        "date": event["eventDate"], "value": diameter["measurementValue"],
        "unit": diameter["measurementUnit"], "status": _value(facts, "state of the stem"),
        "measured_height_m": _value(facts, "height of measurement"),
        "stem": _value(facts, "stem"), "source": _value(facts, "source"),
    }  # fmt: skip
    others = [kind for kind in facts if kind.startswith(_OTHER)]
    row.update({kind.removeprefix(_OTHER): _value(facts, kind) for kind in others})
    for name, term in (("who", "DeterminedBy"), ("graduation", "Accuracy")):
        if diameter[f"measurement{term}"]:
            row[name] = diameter[f"measurement{term}"]
    return row
