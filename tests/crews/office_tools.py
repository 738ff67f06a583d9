"""A real PostgreSQL server for the tests, an office of its own for each."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from uuid import uuid4

import pytest

# ``.ci/run`` starts a server and sets this; ``.ci/postgres`` does so elsewhere.
ADDRESS = os.environ.get("CALLOUT_TEST_POSTGRES", "")
WHY_NOT = "no PostgreSQL server: set CALLOUT_TEST_POSTGRES to what '.ci/postgres start' prints"
needs_postgres = pytest.mark.skipif(not ADDRESS, reason=WHY_NOT)


@contextmanager
def own_schema() -> Iterator[str]:
    """The name of a schema that nobody else uses; it goes at the end."""
    import psycopg

    name = f"test_{uuid4().hex[:12]}"
    try:
        yield name
    finally:
        with psycopg.connect(ADDRESS, autocommit=True) as connection:
            connection.execute(f'DROP SCHEMA IF EXISTS "{name}" CASCADE')


def asked(schema: str, query: str) -> list[tuple[object, ...]]:
    """Rows of a query by another client than the one under test; ``{s}`` is the schema."""
    import psycopg

    with psycopg.connect(ADDRESS) as connection:
        return connection.execute(query.format(s=f'"{schema}"')).fetchall()
