"""The scope of a plot: which tags and sizes may be heard there; and choosing a plot by name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from callout.core.errors import OperatorError
from callout.core.model import Plot
from callout.grammar.parser import Parsed
from callout.grammar.scope import Scope
from callout.session.state import Memory, left_to_do


def scope_of(plot: Plot, more_tags: Iterable[str] = ()) -> Scope:
    """The plot's tags, those of ``more_tags`` (new trees) too, and its plausible sizes."""
    settings = plot.settings
    return Scope(
        tags=frozenset([*plot.trees, *more_tags]),
        smallest=settings.smallest,
        largest=settings.largest,
        unit=settings.unit,
        implied_point=settings.implied_point,
        decimal_comma=settings.decimal_comma,
        scale=settings.scale,
    )


def plot_named(plots: Mapping[str, Plot], name: str | None) -> Plot:
    """The plot called ``name``, or the first one. Raises OperatorError for an unknown name."""
    if name is None:
        return next(iter(plots.values()))
    if name not in plots:
        raise OperatorError(f"no plot {name!r} in this survey: there is {', '.join(plots)}")
    return plots[name]


def plot_to_begin(plots: Mapping[str, Plot], memory: Memory, name: str | None) -> str:
    """The plot called ``name``; without one, the last one used, or the first unfinished.

    Raises OperatorError for an unknown name.
    """
    if name is not None:
        return plot_named(plots, name).settings.plot
    here = memory.plot
    if here and (memory.pending or left_to_do(memory, plots[here])):
        return here
    unfinished = (item for item in plots.values() if left_to_do(memory, item))
    return next(unfinished, plot_named(plots, None)).settings.plot


def plot_asked(parsed: Parsed, plots: Mapping[str, Plot]) -> str | None:
    """The plot asked for by name, ignoring case and hyphens; None for none."""
    if parsed.problem is not None or [one.kind for one in parsed.meanings] != ["plot"]:
        return None
    wanted = _plain(parsed.meanings[0].text or "")
    found = [name for name in plots if _plain(name) == wanted]
    return found[0] if len(found) == 1 else None


def _plain(name: str) -> str:
    return "".join(character for character in name.casefold() if character.isalnum())


def survey_species(plots: Iterable[Plot]) -> tuple[str, ...]:
    """Every species named in the plots, for the grammar."""
    return tuple(sorted({name for plot in plots for name in plot.species_told}))
