"""Screens as SVG, and what of an SVG counts when two are compared.

The stored pictures are docs/screens/*.svg: the documentation shows what the tests check. Ids,
class names and order in an SVG are the exporter's business; texts, places, colours, weight count.
"""

from __future__ import annotations

import asyncio
import html
import os
import re
from collections.abc import Sequence
from pathlib import Path

import fake_face as scripted
from rich.cells import cell_len

from callout.station.face import Level, View

FOLDER = Path(__file__).parents[2] / "docs" / "screens"
UPDATE = "CALLOUT_UPDATE_SCREENS"
"""Set to 1 to store the screens as they are now, instead of comparing."""


def shot(
    view: View,
    size: tuple[int, int],
    keys: Sequence[str] = (),
    safety: bool = False,
    language: str = "en",
) -> str:
    """The screen that shows ``view`` after ``keys``, as SVG."""
    face = scripted.FakeFace(view)

    async def main() -> str:
        app = scripted.screen(face, safety, language=language)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            face.tell(Level(-23.0, True))
            await pilot.pause()
            await pilot.press(*keys)
            await pilot.pause()
            return wide(app.export_screenshot())

    return asyncio.run(main())


def wide(svg: str) -> str:
    """``svg`` with room for wide letters: its writer gives each the width of a narrow one."""

    def stretched(found: re.Match[str]) -> str:
        text = html.unescape(found[3])
        length = float(found[1]) * cell_len(text) / len(text)
        return f'textLength="{length:.10g}"{found[2]}>{found[3]}<'

    return re.sub(r'textLength="([\d.]+)"([^>]*)>([^<]+)<', stretched, svg)


def meaning(svg: str) -> list[str]:
    """What a person would see of ``svg``: texts and coloured fields with their places."""
    styles = dict(re.findall(r"\.[\w-]+-(r\d+) \{([^}]*)\}", svg))
    texts = [
        f"{y} {x} {''.join(styles[style].split())} {html.unescape(text)}"
        for style, x, y, text in re.findall(
            r'<text class="[\w-]+-(r\d+)" x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]*)</text>', svg
        )
    ]
    fields = re.findall(
        r'<rect fill="(#\w+)" x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg
    )
    return sorted(texts) + sorted(" ".join(field) for field in fields)


def words(svg: str) -> str:
    """All text of ``svg``, row by row as it was drawn."""
    return html.unescape("".join(re.findall(r"<text [^>]*>([^<]*)</text>", svg))).replace(
        "\u00a0", " "
    )


def agrees(name: str, svg: str) -> bool:
    """Whether ``svg`` looks like the stored screen ``name``; stores it instead when asked to."""
    path = FOLDER / f"{name}.svg"
    if os.environ.get(UPDATE) == "1":
        FOLDER.mkdir(parents=True, exist_ok=True)
        path.write_text(re.sub(r"terminal-\d+", "screen", svg), encoding="utf-8")
    return meaning(path.read_text(encoding="utf-8")) == meaning(svg)
