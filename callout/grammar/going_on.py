"""Whether words that are a whole callout could still go on to mean another.

Asked of the very automaton that was listened for, so there is no second list of what may follow.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from callout.core.meaning import Meaning
from callout.grammar.automaton import Automaton, Emits
from callout.grammar.following import reached
from callout.grammar.words import Heard

_UNIT = "@unit:"
_REPAIR = "@redo"
_SIZE = "@size"


def goes_on(
    automaton: Automaton,
    heard: Sequence[Heard],
    meaning: Meaning,
    places: int,
    *,
    alike: Collection[str] = (),
    units: bool = False,
) -> bool:
    """Whether more words could make something else of ``heard``, which means ``meaning``.

    Not counted: a repair, which is a callout of its own as well; a figure after the ``places``
    that the tape has behind the point; words that say the kind again, or one of those ``alike``;
    and a unit, unless ``units``.
    """
    said_again = {f"@kind:{kind}" for kind in (meaning.kind, *alike)}
    for state, ways in reached(automaton, heard).items():
        for token in automaton.onward(state) - said_again - {_REPAIR}:
            if token.startswith(_UNIT):
                if units:
                    return True
            elif not token.isdigit() or not all(_places(said) >= places > 0 for said in ways):
                return True
    return False


def _places(said: Emits) -> int:
    """How many figures stand behind the point of the size so far; 0 where there is none."""
    if _SIZE not in said:
        return 0
    last = len(said) - said[::-1].index(_SIZE)
    figures = "".join(said[last:])
    return 0 if "@" in figures else len(figures.replace("~", ".").partition(".")[2])
