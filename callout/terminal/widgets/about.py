"""The lines around the reading: the place, the tree's past, the warnings, what was said."""

from __future__ import annotations

from collections.abc import Iterable

from rich.cells import cell_len

from callout.core.saying import Saying, saying
from callout.station.face import Phase, View
from callout.terminal import labels
from callout.terminal.plain import plain
from callout.terminal.widgets.line import Line, Part, apart


class Place(Line):
    """The plot, its unit, who measures, the progress, and whether the echo is spoken."""

    def show(self, view: View) -> None:
        """Paint the head line of ``view``."""
        about = plain(view.about, 80)
        if view.phase is Phase.STARTING:
            self.put((about, "bold"))
            return
        progress = saying("progress", done=view.done, total=view.total, left=len(view.left))
        self.put(
            *apart(
                (saying("plot-shown", plot=plain(view.plot, 24)), "bold"),
                (progress, "bold"),
                (labels.unit_name(view) if view.unit else "", ""),
                (plain(view.who, 16), ""),
                (_voice(view), "bold" if view.muted or view.sounding else ""),
                (about, ""),
            )
        )


class Past(Line):
    """What the tree measured last time and what changed since."""

    def show(self, view: View) -> None:
        """Paint the past of the tree in hand; nothing when there is none."""
        before = saying("past", size=plain(view.before, 80)) if view.before else ""
        change = saying("changed", change=plain(view.change, 60)) if view.change else ""
        self.put(*apart((before, ""), (change, "bold")))
        self.display = bool(before or change)


class Warnings(Line):
    """Every warning, and what to look at before saying yes. Never cut short."""

    def show(self, view: View) -> None:
        """Paint the warnings of ``view``; takes no row when there are none."""
        self.put(
            *_rows(
                _listed((saying("warned"), "bold"), view.warnings, "bold"),
                _listed((saying("looks"), "bold"), view.looks),
            )
        )
        self.display = bool(view.warnings or view.looks)


class Talk(Line):
    """What was heard and what was said in answer."""

    def show(self, view: View) -> None:
        """Paint the last exchange."""
        heard = plain(view.heard)
        if view.phase is Phase.STARTING:
            typed: list[Part] = [(saying("typed"), "bold"), (f" {heard}\n", "bold")]
            self.put(*(typed if heard else ()), (saying("taken-later") if heard else "", ""))
            return
        names = list(map(self.wording.part, (saying("heard"), saying("said"))))
        cells = max(map(cell_len, names)) + 1
        one, other = (labels.padded(name, cells) for name in names)
        nothing: Part = (saying("nothing-heard"), "")
        said: list[Part] = [(other, "bold"), (plain(view.said), "bold")] if view.said else []
        self.put(*_rows([(one, ""), (heard, "") if heard else nothing], said))


class Engine(Line):
    """Which engine and model listens."""

    def show(self, view: View) -> None:
        """Paint the engine's name."""
        if view.phase is Phase.STARTING:
            self.put((saying("engine-loads"), ""))
        elif view.engine:
            self.put((saying("engine", name=plain(view.engine, 100)), ""))
        else:
            self.put((saying("engine-none"), ""))


class Faults(Line):
    """What is wrong now (microphone, disk, tape), each with what to do; hidden when all is well."""

    def show(self, view: View) -> None:
        """Paint the faults of ``view``."""
        self.put(
            *_rows(
                _listed((saying("fault"), "bold"), view.faults, "bold"),
                _listed((saying("hint"), ""), view.hints),
            )
        )
        self.display = bool(view.faults or view.hints)


def _listed(name: Part, items: Iterable[str], style: str = "") -> list[Part]:
    """``items`` in one row after their name; nothing if there are none."""
    told = "; ".join(map(plain, items))
    return [name, (" ", name[1]), (told, style)] if told else []


def _rows(first: list[Part], second: list[Part]) -> list[Part]:
    """One below the other."""
    return [*first, ("\n", ""), *second] if first and second else first or second


def _voice(view: View) -> Saying:
    if view.muted:
        return saying("voice-muted")
    return saying("voice-speaks") if view.sounding else saying("voice-on")
