"""One style for every figure: legible in grey, for colour-blind readers, and on paper.

Series differ by lightness and by hatch, marker or dash, never by hue alone. Names from a roster are
drawn literally, never as formulas. No data here.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from callout.core.errors import OperatorError

# Dark to light, in hues that remain distinct with the common colour-blindnesses; lightness falls
# evenly, so they remain distinct in a grey print too.
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
    "svg.fonttype": "none",  # letters stay text, so that it can be searched and edited
    "pdf.fonttype": 42,
}


@contextmanager
def figure(height: float = 3.4, width: float = WIDTH_INCHES) -> Iterator[tuple[Any, Any]]:
    """A figure and its axes, in inches, in this style. Raises OperatorError without matplotlib."""
    try:
        import matplotlib
        from matplotlib.figure import Figure
    except ImportError:
        raise OperatorError("figures need matplotlib: pip install 'callout[reports]'") from None
    with matplotlib.rc_context(_LOOK):
        made = Figure(figsize=(width, height), layout="constrained")
        yield made, made.subplots()


FORMS = ("png", "svg", "pdf")
_PLAIN: Mapping[str, Mapping[str, None]] = {  # no metadata that changes from day to day
    "png": {"Software": None},
    "svg": {"Date": None, "Creator": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}


@dataclass(frozen=True)
class Drawing:
    """A figure that is drawn on request, in the requested format."""

    made: Any

    @cached_property
    def png(self) -> bytes:
        """As PNG, for a page."""
        return self.in_form("png")

    def in_form(self, form: str, dots_per_inch: int = 130) -> bytes:
        """As one of ``FORMS``: the same bytes for the same data."""
        import matplotlib
        from matplotlib.backend_bases import get_registered_canvas_class

        data = io.BytesIO()
        with matplotlib.rc_context(_LOOK), warnings.catch_warnings():
            # A name in a script the font lacks is drawn as boxes; the tables have it whole.
            warnings.filterwarnings("ignore", message="Glyph .* missing from")
            self.made.set_dpi(dots_per_inch)
            canvas = get_registered_canvas_class(form)(self.made)
            # Figure.savefig would draw it once more, for the layout, which drawing makes too.
            getattr(canvas, f"print_{form}")(data, metadata=_PLAIN[form])
            self.made.set_layout_engine("none")  # it is laid out; other forms have it so
        return data.getvalue()


def drawing(made: Any) -> Drawing:
    """The figure, drawn later in the wanted format."""
    return Drawing(made)


def png(made: Any) -> bytes:
    """The figure as PNG, the same bytes for the same data."""
    return drawing(made).png


def short(name: str, most: int = 28) -> str:
    """A name short enough for a legend."""
    return name if len(name) <= most else name[: most - 1] + "…"
