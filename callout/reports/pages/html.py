"""Pieces of a page: escaped text, tables, figures inlined, one style sheet.

Every text from a survey is escaped here, so that no name can become markup. No wording and no
figures of the report here.
"""

from __future__ import annotations

import base64
import html
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

STYLE = """
body { font: 11pt/1.45 Georgia, "Times New Roman", serif; color: #202020; background: #fff;
  max-width: 52rem; margin: 2rem auto; padding: 0 1rem; }
h1, h2, h3 { font-family: Verdana, Arial, sans-serif; line-height: 1.2; }
h1 { font-size: 20pt; } h2 { font-size: 14pt; margin-top: 2.2rem; } h3 { font-size: 11pt; }
table { border-collapse: collapse; margin: 0.6rem 0 1.2rem;
  font: 9pt/1.3 Verdana, Arial, sans-serif; }
caption { text-align: left; font-weight: bold; padding: 0.2rem 0; }
th, td { padding: 0.2rem 0.45rem; border-bottom: 1px solid #999; text-align: left; }
th { border-bottom: 2px solid #202020; vertical-align: bottom; }
td.n, th.n { text-align: right; font-variant-numeric: tabular-nums; }
img { max-width: 100%; }
figure { margin: 1rem 0; break-inside: avoid; }
figcaption { font-size: 9.5pt; }
.caution { border-left: 5px solid #202020; padding: 0.2rem 0.8rem; background: #f0f0f0; }
.wide { overflow-x: auto; }
a { color: #1b2a4a; }
@page { size: A4; margin: 16mm; }
@media print { body { margin: 0; padding: 0; max-width: none; font-size: 10pt; }
  h2, h3, caption { break-after: avoid; } tr, li { break-inside: avoid; }
  .wide { overflow: visible; } .wide table { font-size: 7.5pt; }
  .wide th, .wide td { padding: 0.15rem 0.3rem; } figure img { max-height: 150mm; } }
"""


def text(value: object) -> str:
    """``value`` as text safe in HTML."""
    return html.escape(str(value))


def page(title: str, parts: Sequence[str]) -> str:
    """A whole page that needs nothing beside it."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{text(title)}</title>\n<style>{STYLE}</style></head>\n<body>\n"
        + "\n".join(parts)
        + "\n</body>\n</html>\n"
    )


def paragraph(words: str) -> str:
    """A paragraph of plain words."""
    return f"<p>{text(words)}</p>"


def heading(words: str, level: int = 2) -> str:
    """A heading of plain words."""
    return f"<h{level}>{text(words)}</h{level}>"


def bullets(items: Sequence[str], kind: str = "") -> str:
    """A list of plain sentences, '' for none."""
    if not items:
        return ""
    rows = "".join(f"<li>{text(item)}</li>" for item in items)
    return f'<div class="{kind}"><ul>{rows}</ul></div>' if kind else f"<ul>{rows}</ul>"


def picture(png: bytes, caption: str) -> str:
    """A figure with its words, the image inside the page."""
    data = base64.b64encode(png).decode("ascii")
    return (
        f'<figure><img src="data:image/png;base64,{data}" alt="{text(caption)}">'
        f"<figcaption>{text(caption)}</figcaption></figure>"
    )


def grid(frame: pd.DataFrame, columns: Mapping[str, tuple[str, int | None]], caption: str) -> str:
    """A table of some columns: for each its heading and decimals (None for text)."""
    shown = {name: told for name, told in columns.items() if name in frame.columns}
    heads = "".join(
        f"<th{'' if places is None else ' class=n'}>{text(title)}</th>"
        for title, places in shown.values()
    )
    rows = []
    for row in frame[list(shown)].itertuples(index=False):
        cells = [
            f"<td>{text(cell)}</td>"
            if places is None
            else f'<td class="n">{number(cell, places)}</td>'
            for cell, (_, places) in zip(row, shown.values(), strict=True)
        ]
        rows.append(f"<tr>{''.join(cells)}</tr>")
    return (
        f'<div class="wide"><table><caption>{text(caption)}</caption>'
        f"<thead><tr>{heads}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def number(value: Any, places: int) -> str:
    """A number with fixed decimals and a true minus; a dash where there is none."""
    if value is None or (isinstance(value, (float, np.floating)) and not np.isfinite(value)):
        return "–"
    if isinstance(value, Decimal):
        value = float(value)
    shown = f"{value:,.{places}f}"
    if float(shown.replace(",", "")) == 0:
        shown = shown.lstrip("-")
    return shown.replace("-", "\N{MINUS SIGN}")
