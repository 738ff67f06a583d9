"""A species as the survey's table knows it. Reading a table is for the journal."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Species:
    """``code`` is short for the names; ``group`` the growth-form group of the biomass equations.

    ``number`` and ``synonyms`` are those of a reference list, where it comes from one.
    ``largest_cm``: diameter of a mature large tree, None where no source was found. ``source``
    says where that is from.
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
