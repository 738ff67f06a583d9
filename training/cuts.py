"""Single words of people, cut out of their recordings of numbers where ``cuts.json`` says.

So that examples can be put together of single words of one person, as they are said who spell out
a number with pauses. A head over phones found the places; each cut lies halfway between the last
phone of a word and the first of the next. Seconds and words alone are kept, no sound.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from training.people import Recording
from training.synthesisers import RATE

FOUND = Path(__file__).with_name("cuts.json")
_LEAST_S = 0.05


def spelt(people: Sequence[Recording]) -> list[list[Recording]]:
    """Each person's single words: those of numbers, for whom ``cuts.json`` has them."""
    found = json.loads(FOUND.read_text(encoding="utf-8"))
    known = {(who, said, nth): spans for who, own in found.items() for said, nth, spans in own}
    apart: dict[str, list[Recording]] = {}
    seen: Counter[tuple[str, str]] = Counter()
    for one in people:
        key = one.speaker, " ".join(one.words)
        for word, begin_s, end_s in known.get((*key, seen[key]), ()):
            wave = one.wave[int(begin_s * RATE) : int(end_s * RATE)]
            if len(wave) > _LEAST_S * RATE:
                apart.setdefault(one.speaker, []).append(Recording(wave, (word,), one.speaker))
        seen[key] += 1
    return list(apart.values())
