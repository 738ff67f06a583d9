"""Metadata of a data set: who made it, how, under what licence, and where its plots are.

Kept in ``about.toml`` beside a survey, so that every export says the same. Nothing is guessed: what
the file leaves out is left out.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import pandas as pd
import tomlkit

from callout.core.errors import OperatorError
from callout.reports.exchange.cells import PLACE_COLUMNS
from callout.survey.files import storage_errors

ABOUT_FILE = "about.toml"
ROLES = ("author", "contributor", "maintainer", "publisher", "wrangler")
_NUMBER = re.compile(r"-?[0-9]{1,3}(\.[0-9]{1,12})?")
_ORCID = re.compile(r"https://orcid\.org/\d{4}-\d{4}-\d{4}-\d{3}[\dX]")
NOT_TOLD = "not told"
"""The creator where nobody is named: a citation must name somebody."""


@dataclass(frozen=True)
class Contributor:
    """A person (``given``, ``family``) or an office (``name``), with a role."""

    name: str = ""
    given: str = ""
    family: str = ""
    role: str = "author"
    email: str = ""
    orcid: str = ""
    organization: str = ""

    @property
    def told(self) -> str:
        """The contributor's full name."""
        return self.name or " ".join(part for part in (self.given, self.family) if part)


@dataclass(frozen=True)
class About:
    """Metadata of the data set; ``created`` is a time in ISO 8601.

    ``places``: by plot, degrees WGS 84 as texts, and their uncertainty in metres.
    """

    title: str
    creator: str
    created: str
    licence: str = ""
    description: str = ""
    version: str = ""
    methods: str = ""
    identifier: str = ""
    keywords: tuple[str, ...] = ()
    contributors: tuple[Contributor, ...] = ()
    places: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    @property
    def people(self) -> tuple[Contributor, ...]:
        """The contributors that have a name, else the creator as an author."""
        named = tuple(one for one in self.contributors if one.told.strip())
        return named or (Contributor(name=self.creator.strip() or NOT_TOLD),)

    @property
    def plain(self) -> dict[str, Any]:
        """Everything as plain values, for JSON."""
        return asdict(self)


def about_from(plain: Mapping[str, Any]) -> About:
    """The inverse of ``plain``. Raises OperatorError for values of another form."""
    known = {item.name for item in fields(About)}
    try:
        given = {name: value for name, value in plain.items() if name in known}
        given["keywords"] = tuple(str(word) for word in given.get("keywords", ()))
        given["contributors"] = tuple(Contributor(**one) for one in given.get("contributors", ()))
        return About(**{"title": "", "creator": "", "created": "", **given})
    except (TypeError, AttributeError) as error:
        raise OperatorError(f"what is told of the data set is not whole: {error}") from None


def read_about(path: Path, base: About) -> About:
    """``base`` updated from the TOML file at ``path``; ``base`` itself if there is no file.

    Raises OperatorError naming what cannot be used.
    """
    if not path.is_file():
        return base
    with storage_errors(f"cannot read {path}"):
        data = path.read_bytes()
    try:
        told = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise OperatorError(f"{path} is not TOML: {error}") from None
    try:
        return replace(base, **_given(told))
    except OperatorError as error:
        raise OperatorError(f"{path}: {error}") from None


def _given(told: Mapping[str, Any]) -> dict[str, Any]:
    texts = ("title", "licence", "description", "version", "methods", "identifier")
    unknown = set(told) - {*texts, "keywords", "contributor", "plot"}
    if unknown:
        known = ", ".join((*texts, "keywords", "contributor", "plot"))
        raise OperatorError(f"unknown key {sorted(unknown)[0]!r}: there is {known}")
    given: dict[str, Any] = {}
    for name in texts:
        if name in told:
            if not isinstance(told[name], str):
                raise OperatorError(f"{name} must be a text in quotes")
            given[name] = told[name].strip()
    if "keywords" in told:
        given["keywords"] = tuple(str(word) for word in told["keywords"])
    if "contributor" in told:
        given["contributors"] = tuple(_contributor(row) for row in told["contributor"])
    if "plot" in told:
        given["places"] = {str(name): _place(name, row) for name, row in told["plot"].items()}
    return given


def _contributor(row: Any) -> Contributor:
    known = {item.name for item in fields(Contributor)}
    if not isinstance(row, Mapping) or set(row) - known:
        raise OperatorError(f"a contributor has {', '.join(sorted(known))}, not {row!r}")
    one = Contributor(**{name: str(value) for name, value in row.items()})
    if not one.told:
        raise OperatorError("a contributor has no name: give name, or given and family")
    if one.role not in ROLES:
        raise OperatorError(f"role {one.role!r} of {one.told}: use {', '.join(ROLES)}")
    if one.orcid and not _ORCID.fullmatch(one.orcid):
        raise OperatorError(f"orcid {one.orcid!r}: write https://orcid.org/0000-0000-0000-0000")
    return one


def _place(name: object, row: Any) -> dict[str, str]:
    if not isinstance(row, Mapping) or set(row) - set(PLACE_COLUMNS):
        raise OperatorError(f"plot {name}: there is {', '.join(PLACE_COLUMNS)}")
    place = {key: str(value) for key, value in row.items()}
    for key, most in (("latitude", 90), ("longitude", 180)):
        text = place.get(key, "")
        if not _NUMBER.fullmatch(text) or abs(float(text)) > most:
            raise OperatorError(f"plot {name}: {key} {text!r} is not in degrees, as 47.3812")
    unsure = place.setdefault("coordinate_uncertainty_m", "")
    if unsure and not re.fullmatch(r"[0-9]{1,7}(\.[0-9]{1,3})?", unsure):
        raise OperatorError(f"plot {name}: coordinate_uncertainty_m {unsure!r} is not in metres")
    return place


def placed(plots: pd.DataFrame, about: About) -> pd.DataFrame:
    """``plots`` with their coordinates; unchanged if none are known."""
    if not about.places:
        return plots
    columns = {
        name: [about.places.get(str(plot), {}).get(name, "") for plot in plots["plot"]]
        for name in PLACE_COLUMNS
    }
    return plots.assign(**columns)


def about_text(about: About) -> str:
    """The TOML of ``about.toml``, as read by ``read_about``."""
    document = tomlkit.document()
    for name in ("title", "licence", "description", "version", "methods", "identifier"):
        if getattr(about, name):
            document[name] = getattr(about, name)
    if about.keywords:
        document["keywords"] = list(about.keywords)
    if about.contributors:
        rows = tomlkit.aot()
        for one in about.contributors:
            row = tomlkit.table()
            row.update({key: text for key, text in vars(one).items() if text})
            rows.append(row)
        document["contributor"] = rows
    if about.places:
        document["plot"] = {
            name: {key: text for key, text in place.items() if text}
            for name, place in about.places.items()
        }
    return tomlkit.dumps(document)
