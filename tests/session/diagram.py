"""Draws the session's transitions as a Mermaid diagram into docs/session.md.

Run ``python tests/session/diagram.py`` after a change of the table. The arrows are not copied
from the table but tried: every sample callout is given to a session in every phase.
"""

from __future__ import annotations

import sys
from pathlib import Path

from harrow_fen import Dialogue, saves
from test_rules import ROWS, STATES

from callout.session.machine import TABLE
from callout.session.phase import Phase

PAGE = Path(__file__).parents[2] / "docs" / "session.md"
BEGIN, END = "<!-- drawn from the session -->", "<!-- end of drawing -->"


def arrows() -> dict[tuple[Phase, Phase], list[str]]:
    """For each pair of phases, the kinds of callout that lead from one to the other."""
    found: dict[tuple[Phase, Phase], list[str]] = {}
    for phase, begin in STATES.items():
        for _, meaning, _, _ in ROWS:
            talk: Dialogue = begin()
            effects = talk.hear(meaning)
            moved = talk.memory.phase is not phase or talk.memory.pending != begin().memory.pending
            label = meaning.kind + (" / save" if saves(effects) else "")
            known = found.setdefault((phase, talk.memory.phase), [])
            if moved and label not in known:
                known.append(label)
    return {pair: kinds for pair, kinds in found.items() if kinds}


def name(phase: Phase) -> str:
    return phase.name.lower()


def diagram() -> str:
    lines = ["```mermaid", "stateDiagram-v2", "    [*] --> idle: opened"]
    lines += [f"    {name(phase)}: {phase.value}" for phase in STATES]
    for (source, target), kinds in sorted(arrows().items(), key=lambda item: str(item[0])):
        lines.append(f"    {name(source)} --> {name(target)}: {', '.join(sorted(kinds))}")
    lines += ["    memo --> idle: the note, or silence (back to where it was)", "```"]
    return "\n".join(lines)


def table() -> str:
    """Every row, with the first line of what its handler says it does."""
    lines = ["| in phase | callout | what happens |", "|---|---|---|"]
    for (phase, kind), handler in TABLE.items():
        told = (handler.__doc__ or handler.__name__.strip("_").replace("_", " ")).splitlines()[0]
        lines.append(f"| {phase.value if phase else 'any other'} | {kind} | {told} |")
    return "\n".join(lines)


def drawn() -> str:
    return f"{BEGIN}\n\n{diagram()}\n\n{table()}\n\n{END}"


def page(text: str) -> str:
    """``text`` with the part between the marks drawn anew."""
    head, _, rest = text.partition(BEGIN)
    return head + drawn() + rest.partition(END)[2]


if __name__ == "__main__":
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    sys.stdout.write(f"drawn into {PAGE}\n")
