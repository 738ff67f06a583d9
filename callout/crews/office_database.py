"""Opens the office's PostgreSQL database: creates its tables if needed, shortens its errors.

The database's messages never show a password.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from callout.core.errors import OperatorError, StorageError
from callout.crews.office_tables import DEFAULT_SCHEMA, make_tables

if TYPE_CHECKING:
    from sqlalchemy import Engine, Table


@dataclass(frozen=True)
class Office:
    """A database to push to. Leave with ``close``."""

    engine: Engine
    tables: Mapping[str, Table]

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def open_office(address: str, schema: str = DEFAULT_SCHEMA) -> Office:
    """The office's database at a ``postgresql://`` address, its tables made if needed.

    Raises OperatorError for an invalid address, StorageError if it cannot be reached.
    """
    try:
        from sqlalchemy import create_engine
        from sqlalchemy.engine import make_url
        from sqlalchemy.exc import ArgumentError
    except ImportError:
        raise OperatorError("push needs SQLAlchemy: pip install 'callout[office]'") from None
    if not (schema.isascii() and schema.isidentifier()):
        raise OperatorError(f"schema {schema!r}: use letters, digits and underscores")
    try:
        url = make_url(address)
    except (ArgumentError, ValueError):
        url = None
    if url is None or url.drivername not in ("postgresql", "postgres", "postgresql+psycopg"):
        raise OperatorError(
            "the address is no PostgreSQL address: write postgresql://user@host:port/database, "
            "and keep the password in PGPASSWORD or ~/.pgpass"
        )
    try:
        engine = create_engine(
            url.set(drivername="postgresql+psycopg"), connect_args={"connect_timeout": 10}
        )
    except ImportError:
        raise OperatorError("push needs psycopg: pip install 'callout[office]'") from None
    try:
        with office_errors(url.password), engine.begin() as connection:
            made = make_tables(connection, schema)
    except BaseException:
        engine.dispose()
        raise
    return Office(engine, {table.name: table for table in made.tables.values()})


@contextmanager
def office_errors(password: object = None) -> Iterator[None]:
    """Turn a database error into one plain line, without the password."""
    from sqlalchemy.exc import SQLAlchemyError

    try:
        yield
    except SQLAlchemyError as error:
        cause = getattr(error, "orig", None) or error
        told = str(cause).strip().splitlines()[0] if str(cause).strip() else type(cause).__name__
        if password:
            told = told.replace(str(password), "***")
        raise StorageError(
            f"the office's database refused: {told}; what was sent stays, push again to go on"
        ) from None
