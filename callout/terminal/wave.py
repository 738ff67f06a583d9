"""A sound and its words as rows of text, in a given width. Nothing is painted or heard here."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len, set_cell_size

from callout.lookback.viewing import TimedWord
from callout.terminal.labels import padded

_EIGHTHS = " ▁▂▃▄▅▆▇█"


def wave_rows(outline: Sequence[float], width: int, height: int) -> list[str]:
    """The outline as ``height`` rows of bars that rise from the last one."""
    columns = [_most(outline, at, width) for at in range(width)]
    rows = []
    for row in range(height, 0, -1):
        filled = [value * height - (row - 1) for value in columns]
        rows.append("".join(_EIGHTHS[max(0, min(8, round(part * 8)))] for part in filled))
    return rows


def _most(outline: Sequence[float], at: int, width: int) -> float:
    count = len(outline)
    if not count:
        return 0.0
    begin = at * count // width
    return max(outline[begin : max(begin + 1, (at + 1) * count // width)])


def ruler(seconds: float, width: int) -> str:
    """Marks every half second, with a number at each whole one."""
    row = [" "] * width
    for half in range(int(seconds * 2) + 1):
        at = column(half / 2, seconds, width)
        for offset, char in enumerate(f"{half // 2} s" if half % 2 == 0 else "·"):
            if at + offset < width:
                row[at + offset] = char
    return "".join(row)


def column(at_s: float, seconds: float, width: int) -> int:
    """The column of a time."""
    return min(width - 1, max(0, int(at_s * width / seconds + 1e-9))) if seconds > 0 else 0


def word_rows(words: Sequence[TimedWord], seconds: float, width: int) -> tuple[str, str]:
    """The words at their times, each with its confidence below; shifted if they touch."""
    upper, lower = "", ""
    for item in words:
        sure = f"{round(item.confidence * 100)}%"
        at = max(column(item.start_s, seconds, width), cell_len(upper) + (1 if upper else 0))
        cell = max(cell_len(item.word), len(sure))
        upper = padded(upper, at) + padded(item.word, cell)
        lower = lower.ljust(at) + sure.ljust(cell)
    return set_cell_size(upper, min(width, cell_len(upper))), lower[:width]


def times_told(words: Sequence[TimedWord]) -> str:
    """Each word with its times as numbers, for those who need them."""
    return ", ".join(f"{item.word} {item.start_s:.2f}-{item.end_s:.2f} s" for item in words)
