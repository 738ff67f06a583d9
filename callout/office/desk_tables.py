"""The tables of the office's index, and what each list of its page shows, in SQL."""

from __future__ import annotations

from callout.crews.twice import WITHIN_DAYS

LIMITS = {"days": WITHIN_DAYS}
# ``amended`` is a ruling's size; ``grown`` says how growth is out of bounds. By ``past`` a tree has
# its earlier sizes as its roster has them, in JSON.
TABLES = """
CREATE TABLE readings (
    recorder INTEGER, entry INTEGER, plot TEXT, tag TEXT, stem TEXT, at TEXT, value TEXT,
    unit TEXT, alive INTEGER, flagged INTEGER, supersedes INTEGER, void INTEGER, stands INTEGER,
    text TEXT, walk INTEGER, several INTEGER DEFAULT 0,
    ruled TEXT DEFAULT '', amended TEXT DEFAULT '', grown TEXT DEFAULT '',
    PRIMARY KEY (recorder, entry)
) WITHOUT ROWID;
CREATE TABLE trees (
    plot TEXT, tag TEXT, roster INTEGER, species TEXT, walk INTEGER, past TEXT
);
CREATE INDEX trees_tag ON trees(plot, tag, roster);
CREATE TABLE recorders (number INTEGER PRIMARY KEY, roster INTEGER);
"""
# A reading as a row of the index, in the columns' order up to ``text``.
OF_A_READING = """{number}, entry, plot, tag, stem, at, value, unit,
    status = 'live', warnings <> '[]', supersedes, void, NOT void,
    lower(plot || ' ' || tag || ' ' || new_tag || ' ' || species || ' ' || who || ' ' || words
    || ' ' || CASE warnings WHEN '[]' THEN '' ELSE warnings END || ' '
    || ifnull(value || ' ' || unit, replace(status, '_', ' ')))"""
TAKE_READING = """INSERT INTO readings VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12,
    ?13, ?14, (SELECT walk FROM trees JOIN recorders USING (roster)
    WHERE number = ?1 AND plot = ?3 AND tag = ?4), 0, '', '', '')"""
# Read by SQLite itself: a roster of a hundred thousand trees makes no objects here.
TAKE_ROSTER = """INSERT INTO trees
    SELECT json_extract(value, '$.plot'), json_extract(value, '$.tag'), ?,
    json_extract(value, '$.species'), key, json_extract(value, '$.past')
    FROM json_each(?, '$.trees')"""
# Standing as in ``journal.reader.current``. SQLite's own ``lower`` knows ASCII alone.
STANDING = """
CREATE INDEX readings_tree ON readings(plot, tag, stem);
UPDATE readings SET stands = 0 WHERE (recorder, entry) IN (
    SELECT recorder, supersedes FROM readings WHERE void);
UPDATE readings SET stands = 0 WHERE (recorder, entry) IN (
    SELECT recorder, supersedes FROM readings WHERE stands AND supersedes IS NOT NULL);
UPDATE readings SET text = casefold(text) WHERE length(text) <> length(CAST(text AS BLOB));
"""
SEVERAL = """UPDATE readings AS r SET several = 1 WHERE r.stands AND EXISTS (
    SELECT 1 FROM readings o WHERE o.plot = r.plot AND o.tag = r.tag AND o.stem = r.stem
    AND o.stands AND o.recorder <> r.recorder
    AND abs(julianday(o.at) - julianday(r.at)) < :days + 1)"""
# What each list of the page shows, of the readings ``r``.
SHOWN = {
    "flagged": "r.stands AND r.flagged AND r.ruled = ''",
    "growth": "r.grown <> '' AND r.ruled = ''",
    "several": "r.several",
    "ruled": "r.ruled <> ''",
    "all": "r.stands",
    "gone": "NOT r.void",
}
LEFT = """FROM trees t WHERE NOT EXISTS (
    SELECT 1 FROM readings r JOIN recorders ON number = r.recorder
    WHERE r.plot = t.plot AND r.tag = t.tag AND r.stands AND recorders.roster = t.roster)
    AND (:plot = '' OR t.plot = :plot)
    AND (:find = '' OR instr(casefold(t.plot || ' ' || t.tag || ' ' || t.species), :find))"""
# Sizes that stand of a plot's stems, as amended where somebody ruled so.
MEASURED = """SELECT r.recorder, r.entry, r.tag, r.stem, r.at,
    CASE r.amended WHEN '' THEN r.value ELSE r.amended END AS size, r.unit, r.alive
    FROM readings r WHERE r.stands AND r.ruled <> 'void' AND r.value IS NOT NULL
    AND r.plot = :plot"""
