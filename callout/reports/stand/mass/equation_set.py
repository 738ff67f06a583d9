"""Biomass equations as data: read from a TOML file with their source and range of validity.

Which species an equation serves is data too: whole names first, then the first two words, then
genera, then the set's fallback if it names one. So is the height at which its diameter is taken.
Nothing is computed here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.core.species import Species

DEFAULT_SET = Path(__file__).parent / "equations" / "national_groups.toml"


_HYBRID = ("x", "\N{MULTIPLICATION SIGN}")


@dataclass(frozen=True)
class Equation:
    """Dry mass in kg = exp(b0 + b1 ln d), d in cm, from ``from_cm`` to ``to_cm``.

    ``residual_ln`` is the standard deviation of single trees about it, in log units. Its diameter
    is taken at ``measured_at`` (words), between ``lowest_m`` and ``highest_m`` above ground.
    """

    group: str
    b0: float
    b1: float
    from_cm: float
    to_cm: float
    residual_ln: float
    measured_at: str = "breast height"
    lowest_m: float = 0.0
    highest_m: float = float("inf")


@dataclass(frozen=True)
class EquationSet:
    """Equations by group, the names each serves, and remarks to report."""

    name: str
    source: str
    standing: str
    pool: str
    not_counted: str
    breast_height_m: float
    equations: Mapping[str, Equation]
    names: Mapping[str, str] = field(default_factory=dict)
    whole: frozenset[str] = frozenset()  # names that match only as a whole: common ones, codes
    fallback: str = ""

    def group_of(self, species: str) -> str:
        """The group that serves ``species`` ('' for none): whole name, two words, genus, fallback.

        A variety belongs to its species, and so does a name followed by its author. A common name
        matches as a whole: a cherry birch is not a cherry.
        """
        words = [word for word in species.casefold().split() if word not in _HYBRID]
        name = " ".join(words)
        if name in self.names:
            return self.names[name]
        parts = (" ".join(words[:2]), *words[:1])
        known = (part for part in parts if part in self.names and part not in self.whole)
        return next((self.names[part] for part in known), self.fallback)

    def with_names(self, names: Mapping[str, str], *, whole: bool = False) -> EquationSet:
        """The set with further species (name to group), ``whole`` for common names and codes.

        Raises OperatorError for a group without an equation.
        """
        for species, group in names.items():
            if group not in self.equations:
                known = "; ".join(self.equations)
                raise OperatorError(f"no equation {group!r} for {species!r}: there are {known}")
        folded = {" ".join(name.split()).casefold(): group for name, group in names.items()}
        only = self.whole | frozenset(folded) if whole else self.whole - frozenset(folded)
        return replace(self, names={**self.names, **folded}, whole=only)

    def knowing(self, species: Iterable[Species]) -> EquationSet:
        """The set with the common names and codes of ``species`` added.

        Each goes by its scientific name, else by the group in the species table, if the set has an
        equation for it. Names that the set knew before keep their group.
        """
        found: dict[str, str] = {}
        for one in species:
            group = self.group_of(one.scientific) or one.group
            if group in self.equations:
                found.update({name: group for name in one.names if name not in self.names})
        return self.with_names(found, whole=True)


def read_equations(path: Path = DEFAULT_SET) -> EquationSet:
    """The set in a TOML file. Raises OperatorError for one that is incomplete or invalid."""
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise OperatorError(f"equation set {path} cannot be read: {error}") from None
    try:
        lowest = float(data.get("lowest_m", 0.0))
        equations = {
            group: _equation(group, {"lowest_m": lowest, **row})
            for group, row in data["equations"].items()
        }
        given = EquationSet(
            name=str(data["name"]),
            source=str(data["source"]),
            standing=str(data["standing"]),
            pool=str(data["pool"]),
            not_counted=str(data["not_counted"]),
            breast_height_m=float(data["breast_height_m"]),
            equations=equations,
            fallback=str(data.get("fallback", "")),
        )
        names = {
            str(name): group
            for group, row in data["equations"].items()
            for name in (*row.get("genera", ()), *row.get("species", ()))
        }
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise OperatorError(f"equation set {path} is not whole: {error!s} is wrong") from None
    if given.fallback and given.fallback not in equations:
        raise OperatorError(f"equation set {path}: fallback {given.fallback!r} has no equation")
    return given.with_names(names)


def _equation(group: str, row: Mapping[str, Any]) -> Equation:
    b0, b1, lower, upper, residual = (
        float(row[key]) for key in ("b0", "b1", "from_cm", "to_cm", "residual_ln")
    )
    equation = Equation(
        group,
        b0,
        b1,
        lower,
        upper,
        residual,
        measured_at=str(row.get("measured_at", "breast height")),
        lowest_m=float(row["lowest_m"]),
        highest_m=float(row.get("highest_m", "inf")),
    )
    if not 0 <= equation.lowest_m < equation.highest_m:
        raise ValueError(f"the height of measurement of {group!r}")
    if not 0 < equation.from_cm < equation.to_cm or equation.residual_ln < 0:
        raise ValueError(f"the range or residual of {group!r}")
    return equation
