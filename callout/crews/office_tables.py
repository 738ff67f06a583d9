"""The tables of an office's database: the same journals, for many crews, in PostgreSQL.

``entries`` is the journal as its recorders wrote it, text for text, so that its chains can be
checked there too; triggers refuse to change it. ``readings`` and ``memos`` are its tables with
proper types, ``standing`` a view of the current readings. Sending is in ``push``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from callout.core.errors import OperatorError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy import Connection, MetaData, Table
    from sqlalchemy.sql.schema import SchemaItem

VERSION = 1
DEFAULT_SCHEMA = "callout"
_MAKING = 0x63616C6C  # of the lock held while tables are made; any number that nobody else uses

_KEEP = """
CREATE OR REPLACE FUNCTION {schema}.keep_entries() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'journal entries are never changed or deleted'; END $$;
CREATE TRIGGER entries_keep BEFORE UPDATE OR DELETE ON {schema}.entries
FOR EACH ROW EXECUTE FUNCTION {schema}.keep_entries();
CREATE TRIGGER entries_stay BEFORE TRUNCATE ON {schema}.entries
FOR EACH STATEMENT EXECUTE FUNCTION {schema}.keep_entries();
"""

# A reading is current if it is no undo, was not undone, and is not replaced by a current one.
_STANDING = """
CREATE VIEW {schema}.standing AS SELECT r.* FROM {schema}.readings r
WHERE NOT r.void AND NOT EXISTS (
    SELECT 1 FROM {schema}.readings u
    WHERE u.recorder = r.recorder AND u.supersedes = r.entry AND u.void)
AND NOT EXISTS (
    SELECT 1 FROM {schema}.readings n
    WHERE n.recorder = r.recorder AND n.supersedes = r.entry AND NOT n.void
    AND NOT EXISTS (
        SELECT 1 FROM {schema}.readings v
        WHERE v.recorder = n.recorder AND v.supersedes = n.entry AND v.void))
"""


def tables(schema: str) -> MetaData:
    """The tables in ``schema``."""
    from sqlalchemy import (
        BigInteger,
        Boolean,
        Column,
        DateTime,
        ForeignKey,
        ForeignKeyConstraint,
        Integer,
        LargeBinary,
        MetaData,
        Numeric,
        Table,
        Text,
    )
    from sqlalchemy.dialects.postgresql import JSONB

    def text(name: str, *, missing: bool = False) -> Column[str]:
        return Column(name, Text, nullable=missing)

    def of_entry(name: str) -> list[SchemaItem]:
        """Columns with a foreign key to an entry."""
        return [
            Column("recorder", Text, primary_key=True),
            Column(name, BigInteger, primary_key=True),
            ForeignKeyConstraint(
                ["recorder", name], [f"{schema}.entries.recorder", f"{schema}.entries.seq"]
            ),
        ]

    found = MetaData(schema=schema)
    Table("about", found, Column("version", Integer, primary_key=True))
    Table(
        "recorders",
        found,
        Column("id", Text, primary_key=True),
        text("who"),
        text("began"),
        Column("office", Boolean, nullable=False),
        text("survey"),
    )
    Table(
        "entries",
        found,
        Column("recorder", Text, ForeignKey(f"{schema}.recorders.id"), primary_key=True),
        Column("seq", BigInteger, primary_key=True),
        text("at"),
        text("kind"),
        text("body"),
        text("prev"),
        text("hash"),
    )
    Table(
        "readings",
        found,
        *of_entry("entry"),
        Column("at", DateTime(timezone=True), nullable=False, index=True),
        text("plot"),
        text("tag"),
        text("stem"),
        text("species"),
        text("status"),
        Column("raw", Numeric),
        text("raw_unit", missing=True),
        Column("value", Numeric),
        text("unit"),
        Column("height_m", Numeric),
        text("words"),
        text("source"),
        text("engine"),
        Column("confidence", Numeric),
        text("audio", missing=True),
        text("who"),
        Column("warnings", JSONB, nullable=False),
        Column("is_new", Boolean, nullable=False),
        Column("supersedes", BigInteger),
        Column("void", Boolean, nullable=False),
        Column("tag_lost", Boolean, nullable=False),
        text("new_tag"),
    )
    Table(
        "memos",
        found,
        *of_entry("entry"),
        Column("at", DateTime(timezone=True), nullable=False),
        text("plot"),
        text("tag", missing=True),
        text("audio", missing=True),
        text("words"),
    )
    Table("seals", found, *of_entry("entry"), text("hash"), text("at"), text("signature"))
    Table("sounds", found, Column("sha256", Text, primary_key=True), Column("flac", LargeBinary))
    return found


def make_tables(connection: Connection, schema: str) -> MetaData:
    """Create missing tables, in the caller's transaction.

    Raises OperatorError if they are of another version.
    """
    from sqlalchemy import inspect, select, text

    found = tables(schema)
    about = found.tables[f"{schema}.about"]
    # Two crews that push for the first time must not both create them.
    connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _MAKING})
    if not inspect(connection).has_table("about", schema=schema):
        connection.execute(text(f'CREATE SCHEMA IF NOT EXISTS "{schema}"'))
        found.create_all(connection)
        for statement in (_KEEP, _STANDING):
            connection.exec_driver_sql(statement.format(schema=f'"{schema}"'))
        connection.execute(about.insert().values(version=VERSION))
    version = connection.execute(select(about.c.version)).scalar_one()
    if version != VERSION:
        raise OperatorError(
            f"the office's tables are of version {version}, this program knows {VERSION}: "
            "use the same version everywhere, or another --schema"
        )
    return found


def put_aside(connection: Connection, tables: Mapping[str, Table], recorder: str) -> list[str]:
    """Hide a recorder's rows, in the caller's transaction; returns what was done.

    Its entries and seals stay under another name, for later questions; they no longer belong to a
    recorder, so their readings and notes are deleted.
    """
    from sqlalchemy import delete, func, literal, select

    recorders, entries = tables["recorders"], tables["entries"]
    mine = connection.execute(
        select(recorders).where(recorders.c.id == recorder).with_for_update()
    ).first()
    if mine is None:
        return []
    prefix = f"{recorder} put aside "
    before = select(func.count()).where(recorders.c.id.startswith(prefix))
    aside = f"{prefix}{connection.execute(before).scalar_one() + 1}"
    connection.execute(recorders.insert().values({**mine._mapping, "id": aside}))
    for table in (entries, tables["seals"]):
        names = [column.name for column in table.columns if column.name != "recorder"]
        rows = select(literal(aside), *(table.c[name] for name in names))
        connection.execute(
            table.insert().from_select(
                ["recorder", *names], rows.where(table.c.recorder == recorder)
            )
        )
    connection.exec_driver_sql(f"ALTER TABLE {entries.fullname} DISABLE TRIGGER entries_keep")
    for name in ("readings", "memos", "seals", "entries"):
        connection.execute(delete(tables[name]).where(tables[name].c.recorder == recorder))
    connection.exec_driver_sql(f"ALTER TABLE {entries.fullname} ENABLE TRIGGER entries_keep")
    return [f"what the office had of {recorder} is put aside as {aside!r}"]
