"""Seals kept outside the survey: lines that were sent, and lines that were read out.

A seal is read out as digits, so that it goes over a radio, in a text message or onto paper in any
language: the entry's number, then six groups of four digits of its hash, each group with a check
digit of its own that also depends on its position. With 24 digits each attempt at forgery succeeds
1 time in 10^24. Checking against a journal is in ``verify_seals``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from callout.core.damm import check_digit
from callout.core.errors import OperatorError
from callout.proof.seals import Seal, seal_of
from callout.survey.files import storage_errors

_GROUPS = 6
_FIGURES = 4
_KEPT = 10 ** (_GROUPS * _FIGURES)
_MARK = "callout"
MOST_BYTES = 16_000_000


@dataclass(frozen=True)
class Witness:
    """A seal as kept outside: whole, or by the digits that were read out.

    ``where`` says which line of which copy it is.
    """

    entry: int
    figures: str
    hash: str = ""
    seal: Seal | None = None
    where: str = ""

    def fits(self, digest: str) -> bool:
        """Whether an entry with this hash is the one that was sealed."""
        return self.hash == digest if self.hash else self.figures == _figures_of(digest)


def told(seal: Seal) -> str:
    """The seal as digits to be read out, e.g. ``8124 40213 58819 …``."""
    figures = _figures_of(seal.hash)
    groups = [figures[at : at + _FIGURES] for at in range(0, len(figures), _FIGURES)]
    whole = [str(seal.entry), *groups]
    return " ".join(group + check_digit(f"{place}{group}") for place, group in enumerate(whole))


def _figures_of(digest: str) -> str:
    return str(int(digest[:32], 16) % _KEPT).zfill(_GROUPS * _FIGURES)


def read_witnesses(path: Path) -> list[Witness]:
    """The seals of a copy: lines of a ``seals.txt``, lines that were read out, or both.

    Empty lines and what follows ``#`` are comments. Raises OperatorError naming the line, and the
    group, that was heard or written wrongly.
    """
    with storage_errors(f"cannot read {path}"), path.open("rb") as file:
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise OperatorError(f"{path} is larger than any copy of seals: give a copy of a seals.txt")
    return list(witnesses_in(data.decode("utf-8", "replace").splitlines(), str(path)))


def witnesses_in(lines: Iterable[str], copy: str) -> Iterable[Witness]:
    """The seals in the lines of ``copy``. Raises OperatorError as ``read_witnesses`` does."""
    for number, line in enumerate(lines, start=1):
        plain = line.partition("#")[0].strip()
        if plain:
            yield witness_of(plain, f"{copy}, line {number}")


def witness_of(line: str, where: str) -> Witness:
    """The seal in one line, either form."""
    seal = seal_of(line)
    if seal is not None:
        return Witness(seal.entry, _figures_of(seal.hash), seal.hash, seal, where)
    parts = line.lower().removeprefix(_MARK).replace("-", " ").split()
    if not all(part.isascii() and part.isdecimal() for part in parts) or len(parts) < 2:
        raise OperatorError(
            f"{where} is no seal: a line of seals.txt, or the figures it is told by"
        )
    if len(parts) != _GROUPS + 1 or any(len(part) != _FIGURES + 1 for part in parts[1:]):
        raise OperatorError(
            f"{where}: a told seal is a number and {_GROUPS} groups of {_FIGURES + 1} figures; "
            f"here are {len(parts)} groups"
        )
    for place, part in enumerate(parts):
        if check_digit(f"{place}{part}") != "0":
            raise OperatorError(
                f"{where}: group {place + 1}, {part}, was heard or written wrongly, or stands in "
                "another's place: ask for it again"
            )
    return Witness(int(parts[0][:-1]), "".join(part[:-1] for part in parts[1:]), where=where)
