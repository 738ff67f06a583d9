"""The tables of the office's index, and what each list of its page shows, in SQL."""

from __future__ import annotations

from callout.core.checking.checks_limits import DEFAULT_LIMITS
from callout.core.units import Unit
from callout.crews.twice import WITHIN_DAYS

MM = {unit.value: float(unit.centimetres) * 10 for unit in Unit}
LIMITS = {
    "fast": float(DEFAULT_LIMITS.usual_growth_mm_a_year),
    "shrink": float(DEFAULT_LIMITS.shrink_sd),
    "days": WITHIN_DAYS,
}
GROWTH_TOLD = (
    f"Grew more than {DEFAULT_LIMITS.usual_growth_mm_a_year} mm a year since the visit before, or "
    "shrank by more than two measurements of one tree differ."
)
TABLES = """
CREATE TABLE readings (
    id INTEGER PRIMARY KEY, recorder INTEGER, entry INTEGER, plot TEXT, tag TEXT, stem TEXT,
    day REAL, mm REAL, flagged INTEGER, supersedes INTEGER, void INTEGER, walk INTEGER,
    stands INTEGER DEFAULT 0, grown INTEGER DEFAULT 0, several INTEGER DEFAULT 0,
    ruled TEXT DEFAULT '', text TEXT
);
CREATE TABLE trees (roster TEXT, plot TEXT, tag TEXT, species TEXT, walk INTEGER);
CREATE TABLE sizes (
    plot TEXT, tag TEXT, stem TEXT, day REAL, mm REAL, day_told TEXT, value TEXT, unit TEXT,
    recorder INTEGER
);
CREATE TABLE recorders (number INTEGER PRIMARY KEY, roster TEXT);
"""
INDEXES = """
CREATE INDEX readings_entry ON readings(recorder, entry);
CREATE INDEX readings_later ON readings(recorder, supersedes);
CREATE INDEX readings_tree ON readings(plot, tag, stem);
CREATE INDEX readings_walk ON readings(walk, plot, tag, entry);
CREATE INDEX trees_tag ON trees(roster, plot, tag);
"""
STANDING = """
UPDATE readings SET stands = 1 WHERE void = 0 AND NOT EXISTS (
    SELECT 1 FROM readings later WHERE later.recorder = readings.recorder AND later.void = 1
    AND later.supersedes = readings.entry);
UPDATE readings SET stands = 0 WHERE EXISTS (
    SELECT 1 FROM readings later WHERE later.recorder = readings.recorder AND later.stands = 1
    AND later.supersedes = readings.entry);
"""
_BEFORE = """(
    SELECT {what} FROM sizes s WHERE s.plot = r.plot AND s.tag = r.tag AND s.stem IN ('', r.stem)
    AND s.day < r.day - :days ORDER BY s.day DESC LIMIT 1)"""
GROWN = f"""UPDATE readings AS r SET grown = 1 WHERE r.stands AND r.mm IS NOT NULL AND EXISTS (
    SELECT 1 FROM (
        SELECT {_BEFORE.format(what="s.mm")} AS was, {_BEFORE.format(what="s.day")} AS on_day)
    WHERE r.mm - was > :fast * (r.day - on_day) / 365.25
    OR was - r.mm > :shrink * (0.006214 * was + 0.9036))"""
SEVERAL = """UPDATE readings AS r SET several = 1 WHERE r.stands AND EXISTS (
    SELECT 1 FROM readings o WHERE o.plot = r.plot AND o.tag = r.tag AND o.stem = r.stem
    AND o.stands AND o.recorder <> r.recorder AND abs(o.day - r.day) < :days + 1)"""
# What each list of the page shows, of the readings ``r``.
SHOWN = {
    "flagged": "r.stands AND r.flagged",
    "growth": "r.grown AND r.ruled <> 'void'",
    "several": "r.several",
    "ruled": "r.ruled <> ''",
    "all": "r.stands",
    "gone": "NOT r.void",
}
