"""One look for every figure: legible in grey, for colour-blind readers, and on paper.

Series differ by lightness and by hatch, marker or dash, never by hue alone. Names from a roster
are drawn as they are, never as formulas. No data here.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from callout.core.errors import OperatorError

# Dark to light, hues that stay apart for the common colour-blindnesses; lightness falls evenly,
# so that a grey print keeps them apart too.
SHADES = ("#1b2a4a", "#2f6690", "#b5651d", "#7fb3d5", "#e8c468", "#d9d9d9")
HATCHES = ("", "///", "...", "xx", "\\\\\\", "--", "++", "oo")
MARKERS = ("o", "s", "^", "D", "v", "P")
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1)), (0, (1, 3)))
INK = "#202020"
WIDTH_INCHES = 7.0
_LOOK: Any = {
    "font.size": 10,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 11,
    "axes.titlelocation": "left",
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
    "text.parse_math": False,
    "svg.hashsalt": "callout",
}


@contextmanager
def figure(height: float = 3.4, width: float = WIDTH_INCHES) -> Iterator[tuple[Any, Any]]:
    """A figure and its axes, in inches, in this look. Raises OperatorError without matplotlib."""
    try:
        import matplotlib
        from matplotlib.figure import Figure
    except ImportError:
        raise OperatorError("figures need matplotlib: pip install 'callout[reports]'") from None
    with matplotlib.rc_context(_LOOK):
        made = Figure(figsize=(width, height), layout="constrained")
        yield made, made.subplots()


def png(made: Any, dots_per_inch: int = 130) -> bytes:
    """The figure as PNG, the same bytes for the same data."""
    data = io.BytesIO()
    with warnings.catch_warnings():
        # A name in a script the font lacks is drawn as boxes; the tables have it whole.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        made.savefig(data, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return data.getvalue()


def short(name: str, most: int = 28) -> str:
    """A name short enough for a legend."""
    return name if len(name) <= most else name[: most - 1] + "…"
