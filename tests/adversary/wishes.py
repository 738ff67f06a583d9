"""What a person at an invented site means to have stored, reckoned without the program.

A wish is one row as it is meant; ``row`` says what must stand in the journal for it, ``echo`` what
must be heard before a yes. Rounding and girth are done here anew: half up, by fractions of ten and
a pi of 40 figures (known constant).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal, localcontext

from echo_reader import Echo, What

PI = Decimal("3.141592653589793238462643383279502884197")
CENTIMETRES = {"in": Decimal("2.54"), "cm": Decimal(1), "mm": Decimal("0.1")}


@dataclass(frozen=True)
class Place:
    """A plot as the person knows it: its unit and the side of the tape, trees and their lines."""

    name: str
    unit: str
    side: str
    blind: bool
    species: Mapping[str, str]
    heights: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True)
class Wish:
    """One row as meant. ``unit`` and ``side`` are named only where they are said ('' if not).

    ``height`` is a height said in metres, ``feet`` one in feet; ``new_tag`` None: the tag hangs
    there still, '': it is lost.
    """

    plot: str
    tag: str
    stem: str = ""
    called: Decimal | None = None
    unit: str = ""
    side: str = ""
    status: str = "live"
    new: bool = False
    species: str = ""
    height: Decimal | None = None
    feet: Decimal | None = None
    new_tag: str | None = None


def kept(wish: Wish, place: Place) -> Decimal | None:
    """The diameter that must be kept."""
    if wish.called is None:
        return None
    with localcontext() as context:
        context.prec = 40
        size = wish.called / (PI if side_of(wish, place) == "girth" else 1)
        size = size * CENTIMETRES[wish.unit or place.unit] / CENTIMETRES[place.unit]
        return size.quantize(Decimal("0.1"), ROUND_HALF_UP)


def side_of(wish: Wish, place: Place) -> str:
    return wish.side or place.side


def height_of(wish: Wish, place: Place) -> Decimal | None:
    """The height that is stored with a size: the one said, else that of last time, if open."""
    if wish.called is None:
        return None
    if wish.feet is not None:
        return (wish.feet * Decimal("0.3048")).quantize(Decimal("0.01"), ROUND_HALF_UP)
    return wish.height or (None if place.blind else place.heights.get(wish.tag))


def row(wish: Wish, place: Place) -> dict[str, object]:
    """What must stand in the journal, by the names of the table."""
    sized = wish.called is not None
    return {
        "plot": wish.plot,
        "tag": wish.tag,
        "stem": wish.stem,
        "raw": wish.called,
        "raw_unit": (wish.unit or place.unit) if sized else None,
        "raw_scale": side_of(wish, place) if sized else "",
        "value": kept(wish, place),
        "unit": place.unit,
        "status": wish.status.replace(" ", "_"),
        "species": wish.species or place.species.get(wish.tag, ""),
        "is_new": wish.new,
        "height_m": height_of(wish, place),
        "tag_lost": wish.new_tag is not None,
        "new_tag": wish.new_tag or "",
    }


def heard(wish: Wish, place: Place) -> What:
    """What must be told of the stem itself."""
    if wish.called is None:
        return What(status=wish.status)
    other = wish.unit if wish.unit and wish.unit != place.unit else ""
    size = kept(wish, place)
    girth = side_of(wish, place) == "girth"
    return What(
        called=wish.called,
        called_unit=other,
        girth=girth,
        kept=size,
        kept_unit=place.unit if other else "",
        height=height_of(wish, place),
        status=wish.status,
    )


def fits(echo: Echo, wish: Wish, place: Place, stands: Wish | None) -> bool:
    """Whether the echo is of this row, whole; ``stands`` is what is saved of that stem already."""
    lost = {None: "", "": "tag lost"}.get(wish.new_tag, f"was {wish.tag}")
    same = (
        not echo.undo
        and echo.tag == (wish.new_tag or wish.tag)
        and echo.stem == wish.stem
        and echo.new == wish.new
        and echo.lost == lost
        and echo.species == (wish.species if wish.new else "")
        and echo.what == heard(wish, place)
        and echo.again == (stands is not None)
    )
    return same and _replaces(echo, wish, place, stands)


def _replaces(echo: Echo, wish: Wish, place: Place, stands: Wish | None) -> bool:
    if stands is None:
        return echo.instead is None and not echo.hidden
    if place.blind:
        return echo.hidden
    before = heard(stands, place)
    return echo.instead == before or (echo.instead is None and before == heard(wish, place))


def fits_undo(echo: Echo, last: Wish, place: Place, stands: Wish | None) -> bool:
    """Whether the echo would take back what was saved last, and leave what stood before."""
    if not echo.undo or echo.tag != (last.new_tag or last.tag) or echo.stem != last.stem:
        return False
    if echo.what != heard(last, place):
        return False
    if stands is None:
        return echo.instead is None and not echo.hidden
    return echo.hidden if place.blind else echo.instead == heard(stands, place)
