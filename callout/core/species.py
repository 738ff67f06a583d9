"""A species as listed in the survey's table. Reading the table is the journal's job."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Species:
    """One species of the survey's table.

    ``code`` is short for the names; ``group`` the growth-form group of the biomass equations.
    ``number`` and ``synonyms`` are those of a reference list, if it comes from one. ``largest_cm``:
    diameter of a mature large tree, None if no source was found; ``source`` names it.
    """

    scientific: str
    common: str = ""
    code: str = ""
    group: str = ""
    largest_cm: Decimal | None = None
    source: str = ""
    number: str = ""
    synonyms: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Every name it goes by, in lower case."""
        given = (self.scientific, self.common, self.code, self.number, *self.synonyms)
        return tuple(name.casefold() for name in given if name)
