"""Sayings for terms of the trade: statuses, units, callouts, spans of time."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from callout.core.saying import Saying, as_is, saying
from callout.core.statuses import Status, plain_status
from callout.core.units import Scale, Unit

if TYPE_CHECKING:
    from callout.core.model import PlotSettings

STATUSES = (*(status.words for status in Status), "dead", "down")
"""The statuses that the wordings cover; a roster may hold others, which are shown unchanged."""


def status_told(status: str) -> Saying:
    """A status, by its name in the journal or as a roster writes it."""
    name = plain_status(status)
    if name in STATUSES:
        return saying(f"status-{name.replace(' ', '-')}")
    return as_is(status)


def unit_told(unit: Unit, short: bool = False) -> Saying:
    """A unit, by its name or symbol."""
    return saying(f"{'short' if short else 'unit'}-{unit.value}")


def side_told(scale: Scale) -> Saying:
    """A side of the tape."""
    return saying(f"side-{scale.value}")


def command_told(kind: str) -> Saying:
    """A kind of callout, by the words that a person says for it."""
    return saying(f"command-{kind}")


def span_told(span: timedelta) -> Saying:
    """A span to the second if under a minute, else to the minute."""
    seconds = round(abs(span.total_seconds()))
    if seconds < 60:
        return saying("seconds", count=seconds)
    minutes = round(seconds / 60)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    return saying(
        "span",
        days=saying("days", count=days) if days else "",
        hours=saying("hours", count=hours) if hours else "",
        minutes=saying("minutes", count=minutes) if minutes else "",
    )


def about_told(settings: PlotSettings) -> Saying | None:
    """A short description of the plot; None if nothing is known."""
    area = f"{settings.area_ha.normalize():f} ha" if settings.area_ha is not None else ""
    place = (settings.site, settings.treatment, " ".join(filter(None, (area, settings.shape))))
    parts = [as_is(text) for text in place if text]
    if settings.established:
        parts.append(saying("about-since", when=settings.established))
    if settings.paint_line is not None:
        line = saying("about-paint-line") if settings.paint_line else saying("about-no-paint-line")
        parts.append(line)
    return saying("about-plot", parts=tuple(parts)) if parts else None
