"""What is decided about each sound before the session hears of it.

The same at work, in a rebuild from the sound and in hearing again, so that results differ from what
was saved only if an engine hears something else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from callout.core.checking.checks_plot import SURELY_HEARD
from callout.core.meaning import READING_KINDS, Meaning
from callout.core.model import Plot
from callout.core.saying import Saying
from callout.grammar.automaton import Automaton
from callout.grammar.going_on import goes_on
from callout.grammar.language import Language
from callout.grammar.parser import Parsed, choose
from callout.grammar.scope import Scope
from callout.grammar.words import Heard
from callout.session.phase import Phase
from callout.session.state import Memory
from callout.session.told.asides import WAKES
from callout.session.told.doubts import SPECIES_UNHEARD, UNSURE, doubt
from callout.speech.engine import Candidate, Engine
from callout.station.done import Done
from callout.station.speaking.spoken_turns import OVER

LEAST_CONFIDENCE = float(SURELY_HEARD)
# An utterance is cut with a pre-roll, so it seems to begin a little before it was spoken.
PRE_ROLL = timedelta(seconds=0.5)
# Of that so much is sure: an answer that was begun sooner came before the number was spoken.
_LEAD = timedelta(seconds=0.2)
_MOST_CUT = 16
# So many sizes in the plot's own unit, one after another, and nobody will name another.
_SETTLED = 3
_DENIALS = ("reject", "scratch")
_YESES = ("confirm", "accept")


@dataclass(frozen=True)
class AsHeard:
    """How a sound came to be heard.

    ``if_whole``: at a short pause, so that nothing is done of what could go on or is not sure.
    ``over``: the voice sounded meanwhile, and falls silent for what then counts; ``was_cut``: it is
    silent for it already, and tells again what waits where nothing counts.
    """

    if_whole: bool = False
    over: bool = False
    was_cut: bool = False

    @property
    def may_cut(self) -> bool:
        """Whether the words may have the voice fall silent: at a short pause, unless it is."""
        return self.if_whole and not self.was_cut


PLAINLY = AsHeard()


def sure(best: Candidate, scope: Scope, waits: bool = False) -> Parsed:
    """The one meaning that fits the plot, or a question why there is none.

    While an echo ``waits`` for its answer, a doubt that involves "no" is a no: that saves nothing
    and loses only what can be called again, while anything else might save what was denied.
    """
    if best.confidence >= LEAST_CONFIDENCE:
        return choose(best.words, best.meanings, scope)
    if waits and (denied := _denied(best.meanings)) is not None:
        return Parsed(best.words, (denied,), None)
    likely = choose(best.words, best.likely, scope)
    if likely.problem is None and _may_be_echoed(likely.meanings, scope):
        return likely  # the session warns: it sees how unsure the engine was
    return Parsed(best.words, best.meanings, _which(best.meanings, scope))


def wakes(heard: Sequence[Candidate]) -> bool:
    """Whether the likeliest candidate surely ends a pause."""
    if not heard or heard[0].confidence < LEAST_CONFIDENCE:
        return False
    kinds = {meaning.kind for meaning in heard[0].meanings}
    return len(kinds) == 1 and kinds <= WAKES


def whole(best: Candidate, spoken: Automaton, scope: Scope, plot: Plot, memory: Memory) -> bool:
    """Whether what was heard at a short pause is all that is to come.

    It is sure, is one thing that fits the plot, and by the grammar could not go on to mean another.
    While a warned reading waits, "yes" may go on to "yes, accept"; else both are one. A note is
    whatever is said.
    """
    if best.confidence < LEAST_CONFIDENCE or memory.phase is Phase.MEMO:
        return False
    taken = choose(best.words, best.meanings, scope)
    if taken.problem is not None or not scope.fits(taken.meanings[0]):
        return False
    warned = memory.pending is not None and memory.pending.wants_accept
    return not goes_on(
        spoken,
        [Heard(word, word) for word in best.words.split()],
        taken.meanings[0],
        max(0, -int(plot.settings.graduation.as_tuple().exponent)),
        alike=_YESES if taken.meanings[0].kind in _YESES and not warned else (),
        units=_another_unit(memory, plot),
    )


def over_voice(
    parsed: Parsed, best: Candidate, scope: Scope, memory: Memory, about: int | None, how: AsHeard
) -> Meaning | None:
    """What was said while our own voice sounded, where it counts; else None.

    It is surely heard, is one thing, and is not what the voice itself says; a "no" need only be
    much likelier than not, since it saves nothing, or the likeliest where the voice was cut
    for it. A yes counts only where it is about what waits: once all of that was spoken.
    """
    if not how.over or parsed.problem is not None or not parsed.meanings:
        return None
    denied = bool(best.likely) and all(one.kind in _DENIALS for one in best.likely)
    denied |= how.was_cut and parsed.meanings[0].kind in _DENIALS
    if not (best.confidence >= LEAST_CONFIDENCE or denied):
        return None
    (meaning,) = parsed.meanings
    if not scope.fits(meaning) or _is_said_by_us(meaning, memory):
        return None
    if meaning.kind in _YESES and about != memory.asking:
        return None
    return meaning


def cuts(meaning: Meaning | None) -> bool:
    """Whether the voice falls silent for it before it is known to be whole."""
    return meaning is not None and meaning.kind not in _YESES


def _is_said_by_us(meaning: Meaning, memory: Memory) -> bool:
    """A reading like the one that is being told: our own voice, or the same said again."""
    if memory.pending is None or meaning.kind not in READING_KINDS:
        return False
    draft = memory.pending.draft
    return meaning.tag in (None, draft.tag) and meaning.value in (None, draft.raw, draft.value)


def _another_unit(memory: Memory, plot: Plot) -> bool:
    """Whether a unit may yet be named after a size: until a few sizes here were in the plot's own.

    Who reads another unit says so from the first tree on; it must not come too late to be heard.
    """
    sizes = [one.raw_unit for one in memory.undoable if one.raw is not None][-_SETTLED:]
    return len(sizes) < _SETTLED or any(unit is not plot.settings.unit for unit in sizes)


def _denied(meanings: Sequence[Meaning]) -> Meaning | None:
    """A "no" or a "stop" among what may have been said."""
    return next((one for one in meanings if one.kind in _DENIALS), None)


def _may_be_echoed(meanings: Sequence[Meaning], scope: Scope) -> bool:
    """Only a pending reading: a doubtful command would be carried out."""
    return len(meanings) == 1 and meanings[0].kind in READING_KINDS and scope.fits(meanings[0])


def _which(meanings: Sequence[Meaning], scope: Scope) -> Saying:
    """The question if the engine is unsure; always asked, since even what fits may be wrong."""
    fitting = [meaning for meaning in meanings if scope.fits(meaning)]
    if any(meaning.species == "" for meaning in fitting):
        return SPECIES_UNHEARD
    return doubt(*fitting) if len(fitting) == 2 else UNSURE


def asked_by(memory: Memory, began: datetime | None, moved: timedelta = timedelta()) -> int | None:
    """The number of the echo that was already given at ``began``; 0 for none.

    ``moved`` is by how much the clock was set since. None if nothing waits, or the start of the
    answer is not known.
    """
    if began is None or not memory.asking:
        return None
    asked = datetime.fromisoformat(memory.asked_at) + moved
    return memory.asking if asked <= began + PRE_ROLL else 0


class EchoTimes:
    """When echoes were given, by the present clock: it may have been set since."""

    def __init__(self) -> None:
        self._moves: list[tuple[int, timedelta]] = []
        self._hears_on = False
        self._asks: tuple[int, str] = (0, "")
        self._told: Done | None = None
        self._spoken_at: datetime | None = None

    def hears_on(self) -> None:
        """While the voice speaks one is heard: what is asked must have been spoken before a yes."""
        self._hears_on = True

    def told(self, done: Done, memory: Memory) -> None:
        """Something was done: what it asks is still to be spoken, unless it was asked before.

        A sign that something was not taken speaks nothing: what is being told goes on.
        """
        tones = [getattr(effect, "tone", "") for effect in done.effects]
        if "ask" not in tones or OVER in tones:
            return
        asks = (memory.asking, memory.asked_at)
        if asks != self._asks or self._spoken_at is None:
            self._asks, self._told, self._spoken_at = asks, done, None

    def spoken(self, done: Done | None, at: datetime) -> None:
        """All that was to be told of it, but for the bare question, was spoken by then."""
        if done is self._told:
            self._spoken_at = at

    def moved(self, waiting: int, by: timedelta) -> None:
        """The clock was set by so much while the echo of that number waits; 0 for none."""
        if self._spoken_at is not None:
            self._spoken_at += by
        if waiting:
            self._moves = [move for move in self._moves if move[0] == waiting]
            self._moves.append((waiting, by))

    def asked_by(self, memory: Memory, began: datetime | None) -> int | None:
        """The number of the echo that was already given at ``began``; see ``asked_by``."""
        moved = sum((by for about, by in self._moves if about == memory.asking), timedelta())
        about = asked_by(memory, began, moved)
        if not about or began is None or not self._hears_on:
            return about
        return about if self._spoken_at is not None and self._spoken_at <= began + _LEAD else 0


class Narrowed:
    """An engine shared between plots, prepared again only if the scope changes.

    Narrowing the grammar to a plot takes longer than hearing 20 callouts, so the last few are kept.
    """

    def __init__(self, engine: Engine, language: Language) -> None:
        self._engine, self._language = engine, language
        self._scope: Scope | None = None
        self._cut: dict[Scope, Automaton] = {}

    def to(self, scope: Scope) -> Engine:
        """The engine, prepared for that scope."""
        if scope != self._scope:
            self._scope = scope
            self._engine.prepare(self._spoken(scope))
        return self._engine

    def _spoken(self, scope: Scope) -> Automaton:
        found = self._cut.pop(scope, None) or self._language.spoken_in(scope)
        self._cut[scope] = found  # the newest last
        if len(self._cut) > _MOST_CUT:
            del self._cut[next(iter(self._cut))]
        return found
