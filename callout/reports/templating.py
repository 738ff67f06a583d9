"""Pages from the templates beside this file: every text of a survey is escaped (Jinja2).

Styles and scripts lie with the templates. No wording of a page here.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import jinja2

from callout.core.checking.checks_plot import how_sure
from callout.reports.readings import note_told
from callout.reports.review_history import drawn


@cache
def environment() -> jinja2.Environment:
    """Where all of our pages are made; text becomes markup nowhere, unless a template says so."""
    made = jinja2.Environment(
        loader=jinja2.FunctionLoader(beside), autoescape=True, undefined=jinja2.StrictUndefined
    )
    made.filters.update(how_sure=how_sure, note_told=note_told)
    made.globals.update(drawn=drawn)
    return made


def rendered(template: str, **values: object) -> str:
    """A template of that file name, filled."""
    return environment().get_template(template).render(**values)


@cache
def beside(name: str) -> str:
    """A template, style or script as it lies there."""
    return (files("callout.reports") / "templates" / name).read_text(encoding="utf-8")
