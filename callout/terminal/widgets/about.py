"""The lines around the reading: the place, the tree's past, the warnings, what was said."""

from __future__ import annotations

from callout.station.face import STARTING, View
from callout.terminal import labels
from callout.terminal.plain import plain
from callout.terminal.widgets.line import Line


class Place(Line):
    """The plot, its unit, who measures, the progress, and whether the echo is spoken."""

    def show(self, view: View) -> None:
        """Paint the head line of ``view``."""
        if view.phase == STARTING:
            self.put((plain(view.about, 80), "bold"))
            return
        unit = f"   {labels.unit_name(view)}" if view.unit else ""
        self.put(
            (f"Plot {plain(view.plot, 24)}   {labels.progress(view)}", "bold"),
            (f"{unit}   {plain(view.who, 16)}", ""),
            (f"   {_voice(view)}", "bold" if view.muted or view.sounding else ""),
            (f"   {plain(view.about, 80)}" if view.about else "", ""),
        )


class Past(Line):
    """What the tree measured last time and what changed since."""

    def show(self, view: View) -> None:
        """Paint the past of the tree in hand; nothing when there is none."""
        before = f"Last time: {plain(view.before, 80)}" if view.before else ""
        change = f"   Change: {plain(view.change, 60)}" if view.change else ""
        self.put((before, ""), (change, "bold"))
        self.display = bool(before or change)


class Warnings(Line):
    """Every warning, and what to look at before saying yes. Never cut short."""

    def show(self, view: View) -> None:
        """Paint the warnings of ``view``; takes no row when there are none."""
        says = "; ".join(plain(item) for item in view.warnings)
        looks = "; ".join(plain(item) for item in view.looks)
        gap = "\n" if says and looks else ""
        self.put(
            ("CHECK: " if says else "", "bold"),
            (says, "bold"),
            (gap, ""),
            ("LOOK: " if looks else "", "bold"),
            (looks, ""),
        )
        self.display = bool(says or looks)


class Talk(Line):
    """What was heard and what was said in answer."""

    def show(self, view: View) -> None:
        """Paint the last exchange."""
        if view.phase == STARTING:
            waits = f"Typed: {plain(view.heard)}\n" if view.heard else ""
            self.put((waits, "bold"), ("taken as soon as it has started" if waits else "", ""))
            return
        heard = f"Heard: {plain(view.heard)}" if view.heard else "Heard: nothing yet"
        said = f"Said:  {plain(view.said)}" if view.said else ""
        gap = "\n" if said else ""
        self.put((heard, ""), (gap, ""), (said, "bold"))


class Engine(Line):
    """Which engine and model listens."""

    def show(self, view: View) -> None:
        """Paint the engine's name."""
        if view.phase == STARTING:
            self.put(("Engine: loading", ""))
            return
        self.put((f"Engine: {plain(view.engine, 100)}" if view.engine else "Engine: none", ""))


class Faults(Line):
    """What is wrong now (microphone, disk, tape), each with what to do; hidden when all is well."""

    def show(self, view: View) -> None:
        """Paint the faults of ``view``."""
        faults = "; ".join(plain(item) for item in view.faults)
        hints = "; ".join(plain(item) for item in view.hints)
        gap = "\n" if faults and hints else ""
        self.put(
            (f"FAULT: {faults}" if faults else "", "bold"),
            (gap, ""),
            (f"Note: {hints}" if hints else "", ""),
        )
        self.display = bool(faults or hints)


def _voice(view: View) -> str:
    if view.muted:
        return "VOICE MUTED"
    return "VOICE SPEAKING" if view.sounding else "voice on"
