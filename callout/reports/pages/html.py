"""Parts of a page: escaped text, tables, inlined figures, contents, one style sheet.

Templates escape every text from a survey (Jinja2), so that no name can become markup. Figures and
tables are numbered, and contents listed, when the page is assembled. No wording and no figures of
the report here.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from callout.reports.figures.style import Drawing
from callout.reports.templating import environment

STYLE = """
body { font: 11pt/1.45 Georgia, "Times New Roman", serif; color: #202020; background: #fff;
  max-width: 52rem; margin: 2rem auto; padding: 0 1rem; overflow-wrap: break-word; }
h1, h2, h3 { font-family: Verdana, Arial, sans-serif; line-height: 1.2; }
h1 { font-size: 20pt; } h2 { font-size: 14pt; margin-top: 2.2rem; } h3 { font-size: 11pt; }
table { border-collapse: collapse; margin: 0.6rem 0 1.2rem;
  font: 9pt/1.3 Verdana, Arial, sans-serif; }
caption { text-align: left; font-weight: bold; padding: 0.2rem 0; }
th, td { padding: 0.2rem 0.45rem; border-bottom: 1px solid #999; text-align: left; }
th { border-bottom: 2px solid #202020; vertical-align: bottom; }
td { white-space: nowrap; } td.w { white-space: normal; min-width: 13em; }
td.n, th.n { text-align: right; font-variant-numeric: tabular-nums; }
img { max-width: 100%; height: auto; }
figure { margin: 1rem 0; break-inside: avoid; }
figcaption { font-size: 9.5pt; }
nav.contents { border-top: 2px solid #202020; border-bottom: 1px solid #999; margin: 1rem 0;
  font: 9.5pt/1.5 Verdana, Arial, sans-serif; }
nav.contents ul { columns: 2; padding-left: 1.2rem; margin: 0.4rem 0; }
.caution { border-left: 5px solid #202020; padding: 0.2rem 0.8rem; background: #f0f0f0; }
.colophon { font: 8.5pt/1.4 Verdana, Arial, sans-serif; border-top: 1px solid #999;
  margin-top: 2rem; padding-top: 0.5rem; overflow-wrap: anywhere; }
.wide { overflow-x: auto; }
a { color: #1b2a4a; }
@media (max-width: 600px) { body { margin: 0.6rem auto; padding: 0 0.6rem; font-size: 10.5pt; }
  h1 { font-size: 16pt; } h2 { font-size: 13pt; } nav.contents ul { columns: 1; }
  table { font-size: 8pt; } }
@page { size: A4; margin: 16mm; }
@media print { body { margin: 0; padding: 0; max-width: none; font-size: 10pt; }
  h2, h3, caption { break-after: avoid; } tr, li { break-inside: avoid; }
  a { color: inherit; text-decoration: none; }
  .wide { overflow: visible; } .short { break-inside: avoid; }
  .wide table { font-size: 7pt; width: 100%; }
  .wide th, .wide td { padding: 0.12rem 0.25rem; }
  .wide td.w { min-width: 9em; } figure img { max-height: 150mm; } }
"""
# Marks that no escaped text can contain; ``page`` replaces them with numbers.
_FIGURE_MARK, _TABLE_MARK = "<b data-figure></b>", "<b data-table></b>"
_CONTENTS_MARK = "<nav data-contents></nav>"
_HEADING = re.compile(r'<h2 id="(s\d+|)">(.*?)</h2>', re.DOTALL)
_TEMPLATES = {
    "page": """<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ title }}</title>
<style>{{ style|safe }}</style></head>
<body>
{{ body|safe }}
</body>
</html>
""",
    "paragraph": '<p{% if kind %} class="{{ kind }}"{% endif %}>{{ words }}</p>',
    "heading": '<h{{ level }}{% if level == 2 %} id=""{% endif %}>{{ words }}</h{{ level }}>',
    "bullets": """{% if kind %}<div class="{{ kind }}">{% endif -%}
<ul>{% for item in items %}<li>{{ item }}</li>{% endfor %}</ul>
{%- if kind %}</div>{% endif %}""",
    "picture": """<figure><img src="data:image/png;base64,{{ data }}" alt="{{ caption }}">
<figcaption>{{ mark|safe }}{{ caption }}</figcaption></figure>""",
    "links": """<p>{{ before }}{% for name, address in links %}
<a href="{{ address }}">{{ name }}</a>{% if not loop.last %}, {% endif %}{% endfor %}.</p>""",
    "grid": """<div class="wide{% if rows|length < 12 %} short{% endif %}"><table>
<caption>{{ mark|safe }}{{ caption }}</caption>
<thead><tr>{% for title, number in heads %}<th{% if number %} class="n"{% endif %}>{{ title }}</th>
{%- endfor %}</tr></thead>
<tbody>{% for row in rows %}<tr>{% for cell, number in row -%}
<td{% if number %} class="n"{% elif cell|string|length > 24 %} class="w"{% endif %}>{{ cell }}</td>
{%- endfor %}</tr>
{% endfor %}</tbody></table></div>""",
    "contents": """<nav class="contents" aria-label="Contents"><ul>
{%- for name, words in entries %}<li><a href="#{{ name }}">{{ words|safe }}</a></li>
{%- endfor %}</ul></nav>""",
}


@cache
def _templates() -> Mapping[str, Any]:
    return {name: environment().from_string(text) for name, text in _TEMPLATES.items()}


def _made(template: str, **values: Any) -> str:
    return str(_templates()[template].render(**values))


def text(value: object) -> str:
    """``value`` as text safe in HTML."""
    import markupsafe

    return str(markupsafe.escape(str(value)))


def page(title: str, parts: Sequence[str]) -> str:
    """A whole page in one file, its figures and tables numbered.

    ``contents()`` among the parts becomes a list of the headings.
    """
    body = "\n".join(part for part in parts if part)
    for mark, word in ((_FIGURE_MARK, "Figure"), (_TABLE_MARK, "Table")):
        pieces = body.split(mark)
        numbered = [f"<b>{word} {at}.</b> {piece}" for at, piece in enumerate(pieces[1:], 1)]
        body = pieces[0] + "".join(numbered)
    entries: list[tuple[str, str]] = []

    def named(found: re.Match[str]) -> str:
        entries.append((f"s{len(entries) + 1}", found[2]))
        return f'<h2 id="{entries[-1][0]}">{found[2]}</h2>'

    body = _HEADING.sub(named, body)
    listed = _made("contents", entries=entries) if len(entries) > 2 else ""
    return _made("page", title=title, style=STYLE, body=body.replace(_CONTENTS_MARK, listed))


def contents() -> str:
    """The place for the list of headings."""
    return _CONTENTS_MARK


def paragraph(words: str, kind: str = "") -> str:
    """A paragraph of plain words."""
    return _made("paragraph", words=words, kind=kind)


def heading(words: str, level: int = 2) -> str:
    """A heading of plain words."""
    return _made("heading", words=words, level=level)


def links(before: str, addresses: Mapping[str, str]) -> str:
    """A paragraph of links: names and their addresses."""
    return _made("links", before=before, links=list(addresses.items()))


def bullets(items: Sequence[str], kind: str = "") -> str:
    """A list of plain sentences, '' for none."""
    return _made("bullets", items=items, kind=kind) if items else ""


def picture(drawn: Drawing | bytes, caption: str) -> str:
    """A figure with its caption, the image inside the page."""
    png = drawn if isinstance(drawn, bytes) else drawn.png
    data = base64.b64encode(png).decode("ascii")
    return _made("picture", data=data, caption=caption, mark=_FIGURE_MARK)


def grid(frame: pd.DataFrame, columns: Mapping[str, tuple[str, int | None]], caption: str) -> str:
    """A table of some columns: for each its heading and decimals (None for text)."""
    shown = {name: told for name, told in columns.items() if name in frame.columns}
    heads = [(title, places is not None) for title, places in shown.values()]
    rows = [
        [
            (cell if places is None else number(cell, places), places is not None)
            for cell, (_, places) in zip(row, shown.values(), strict=True)
        ]
        for row in frame[list(shown)].itertuples(index=False)
    ]
    return _made("grid", heads=heads, rows=rows, caption=caption, mark=_TABLE_MARK)


def number(value: Any, places: int) -> str:
    """A number with fixed decimals and a true minus sign; a dash for none."""
    if value is None or (isinstance(value, (float, np.floating)) and not np.isfinite(value)):
        return "–"
    if isinstance(value, Decimal):
        value = float(value)
    shown = f"{value:,.{places}f}"
    if float(shown.replace(",", "")) == 0:
        shown = shown.lstrip("-")
    return shown.replace("-", "\N{MINUS SIGN}")
