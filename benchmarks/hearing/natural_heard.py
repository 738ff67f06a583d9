"""One engine at people's natural speech: what is right, taken and wrong, by set, corpus and person.

Of what is no callout only what is taken counts. The engine hears through the public protocol.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchmarks.hearing.natural import NO_CALLOUT, fold_of, question
from benchmarks.hearing.sets import Spoken
from callout.core.meaning import Meaning
from callout.grammar.parser import choose, meanings_of
from callout.grammar.words import Heard
from callout.speech.engine import Engine
from callout.station.deciding import LEAST_CONFIDENCE, sure


@dataclass(frozen=True)
class Answer:
    """What became of one recording. ``right``: the likeliest meaning is the one said.

    ``taken``: at once, unasked. ``warned``: echoed with a warning that only accept answers.
    """

    voice: str
    said: str
    heard: str
    confidence: float
    right: bool
    taken: bool
    warned: bool

    @property
    def wrong(self) -> bool:
        """Taken at once, and not what was said."""
        return self.taken and not self.right


def answers(engine: Engine, kind: str, spoken: Sequence[Spoken]) -> Iterator[Answer]:
    """Every recording of the set ``kind``, by an engine that is prepared here."""
    asked = question(kind)
    engine.prepare(asked.automaton)
    for one in spoken:
        truth = None if kind in NO_CALLOUT else _meant(asked.automaton, one.words, asked.scope)
        best = next(iter(engine.hear(one.samples)), None)
        if best is None:
            yield Answer(one.voice, " ".join(one.words), "", 0.0, False, False, False)
            continue
        parsed = sure(best, asked.scope)
        passed = parsed.problem is None and len(parsed.meanings) == 1
        certain = best.confidence >= LEAST_CONFIDENCE
        likeliest = _meant(asked.automaton, best.words.split(), asked.scope)
        yield Answer(
            one.voice,
            " ".join(one.words),
            best.words,
            best.confidence,
            truth is not None and likeliest == truth,
            passed and certain,
            passed and not certain,
        )


def by_folds(
    engines: Mapping[int, Engine], kind: str, spoken: Sequence[Spoken]
) -> Iterator[Answer]:
    """``answers`` of everybody, each by the engine of the fold that the person belongs to."""
    for fold, engine in engines.items():
        yield from answers(engine, kind, [one for one in spoken if fold_of(one.voice) == fold])


def _meant(automaton: object, words: Sequence[str], scope: object) -> Meaning | None:
    heard = [Heard(word, word) for word in words]
    parsed = choose("", meanings_of(automaton, heard), scope)  # type: ignore[arg-type]
    return parsed.meanings[0] if parsed.meanings else None


HEADING = (
    "| set | condition | recordings | people | heard right | taken at once | echoed with a warning "
    "| taken and wrong |\n|---|---|---|---|---|---|---|---|"
)


def table(found: Mapping[tuple[str, str], Sequence[Answer]]) -> str:
    """One row a set and condition, as Markdown."""
    rows = [HEADING]
    for (kind, condition), heard in found.items():
        none = kind in NO_CALLOUT
        right = "" if none else _share(sum(one.right for one in heard), len(heard))
        taken = sum(one.taken and (one.right or none) for one in heard)
        rows.append(
            f"| {kind} | {condition} | {len(heard)} | {len({one.voice for one in heard})} "
            f"| {right} | {taken if none else _share(taken, len(heard))} "
            f"| {sum(one.warned for one in heard)} "
            f"| {sum(one.wrong for one in heard)} |"
        )
    return "\n".join(rows)


def by_person(heard: Sequence[Answer]) -> str:
    """How many people are heard how well: what an average hides."""
    said, right = Counter[str](), Counter[str]()
    for one in heard:
        said[one.voice] += 1
        right[one.voice] += one.right
    shares = sorted(right[who] / said[who] for who in said)
    every = sum(share == 1.0 for share in shares)
    half = sum(share <= 0.5 for share in shares)
    return f"{len(shares)} people: {every} heard right in all, {half} in half or fewer"


def _share(count: int, of: int) -> str:
    return f"{100 * count / of:.1f} %"
