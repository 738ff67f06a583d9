"""The README's film: what ``callout demo`` printed, as an asciicast and as a moving SVG.

Both are stored in docs/screens and compared with each run of the demo. The pace is the film's own:
it tells nothing of how fast the program is.
"""

from __future__ import annotations

import io
import json
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from rich.console import Console
from rich.text import Text

FOLDER = Path(__file__).parents[2] / "docs" / "screens"
UPDATE = "CALLOUT_UPDATE_SCREENS"
COLUMNS, ROWS = 104, 22
LINE = 24.4
"""Of a row in Rich's SVG, at its font's 20 units."""
PACE_S = {"heard": 1.3, "echo": 0.8, "on": 0.3}
STYLES = {"heard": "cyan", "echo": "bold", "on": "green", "$": "bold"}
SVG = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {terminal_width} HEIGHT">
<style>
{styles}
.{unique_id}-matrix {{ font-family: monospace; font-size: {char_height}px; }}
#film {{ transform: translateY(ENDSpx); }}
#cover {{ transform: translateY(HEIGHTpx); }}
#film, #cover {{ animation: film LASTSs step-end 1 both; }}
#cover {{ animation-name: cover; }}
@keyframes film {{ FILM }}
@keyframes cover {{ COVER }}
@media (prefers-reduced-motion: reduce) {{ #film {{ transform: translateY(ENDSpx); }}
#cover {{ transform: translateY(HEIGHTpx); }}
#film, #cover {{ animation-duration: 1ms; }} }}
</style>
<defs>{lines}</defs>
<rect width="{terminal_width}" height="HEIGHT" rx="8" fill="#292929"/>
<g id="film" class="{unique_id}-matrix">{backgrounds}{matrix}</g>
<rect id="cover" y="2" width="{terminal_width}" height="HEIGHT" fill="#292929"/>
</svg>
"""


def cast_of(printed: str) -> str:
    """The asciicast of what the demo printed, less its places and times, which differ each day."""
    shown = printed[printed.index("  echo") : printed.index("Recogniser: median")]
    kept = [line for line in shown.rstrip().splitlines() if not line.startswith("the walk")]
    lines = ["$ callout demo", *kept]
    head = {"version": 2, "width": COLUMNS, "height": ROWS, "title": "callout demo"}
    return "".join(f"{json.dumps(one, ensure_ascii=False)}\n" for one in (head, *_events(lines)))


def svg_of(cast: str) -> str:
    """The film of an asciicast: rows come one below another, then move up, as in a terminal."""
    events = [json.loads(line) for line in cast.splitlines()[1:]]
    paper = Console(record=True, width=COLUMNS, file=io.StringIO(), legacy_windows=False)
    for _, _, text in events:
        words = text.split()
        paper.print(
            Text(text.rstrip(), style=STYLES.get(words[0], "") if words else ""), no_wrap=True
        )
    lasts = events[-1][0] + 4
    rows = [(at / lasts, row) for row, (at, _, _) in enumerate(events, start=1)]
    template = SVG.replace("HEIGHT", f"{(ROWS + 1) * LINE:.1f}").replace("LASTS", f"{lasts:.1f}")
    ends = min(0, ROWS - len(rows)) * LINE
    template = template.replace("ENDS", f"{ends:.1f}")
    template = template.replace("FILM", _moved((at, min(0, ROWS - row)) for at, row in rows))
    template = template.replace("COVER", _moved((at, min(ROWS + 1, row)) for at, row in rows))
    return paper.export_svg(code_format=template, unique_id="demo", title="")


def agrees(printed: str) -> bool:
    """Whether the stored film shows this run; stores it instead when asked to."""
    cast = cast_of(printed)
    kept, film = FOLDER / "demo.cast", FOLDER / "demo.svg"
    if os.environ.get(UPDATE) == "1":
        kept.write_text(cast, encoding="utf-8")
        film.write_text(svg_of(cast), encoding="utf-8")
    return kept.read_text(encoding="utf-8") == cast and film.read_text(encoding="utf-8") == svg_of(
        cast
    )


def _moved(rows: Iterable[tuple[float, int]]) -> str:
    """Keyframes: at which part of the film by how many rows."""
    return " ".join(
        f"{at * 100:.2f}% {{{{ transform: translateY({by * LINE:.1f}px); }}}}" for at, by in rows
    )


def _events(lines: list[str]) -> Iterator[tuple[float, str, str]]:
    at = 0.0
    for line in lines:
        yield round(at, 2), "o", f"{line}\r\n"
        words = line.split()
        at += PACE_S.get(words[0], 0.08) if words else 0.08
