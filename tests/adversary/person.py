"""A careful person at a table: means one row at a time, and says yes only to its very echo.

Mishears of the machine, slips of the person, hesitation, corrections, other plots, tapes, restarts
and speech over the echo are drawn at random from a number that is given. Two things are assumed of
the world: nothing but a yes is ever taken for a yes, and the words that are called back are heard
as they are. Knows the program by what it is told and by the number that a screen shows; the rows
that it stores are looked at to judge it, never to decide.
"""

from __future__ import annotations

import random
from collections import Counter, deque
from dataclasses import replace
from decimal import Decimal

from at_table import SPECIES, Answer, PureTable, StationTable, places
from echo_reader import Echo, waiting_echo
from wishes import Place, Wish, fits, fits_undo, height_of, row, side_of

WORDS = ("oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
YES = {"confirm": ("confirm", "yes", "save"), "accept": ("accept", "yes accept")}
OTHER = (
    "no", "no", "scratch that", "undo", "skip", "repeat", "what's left", "where was i", "note",
    "tag lost", "tag lost new tag 312", "dead standing", "missing", "plot complete", "live",
    "i am standing", "tree 84", "tree 83", "correction 31.4", "31.4", "girth 88.0", "missing",
    "measured at 1.5 metres", "new tree 302 beech 11.1", "tree 83 stem 2 diameter 14.2",
    "83 girth 75.1", "7 11.2 inches", "30 dead standing", "mumble", "7 note", "40 tag lost",
)  # fmt: skip
"""What else may be said by mistake, or heard in place of what was said."""
PATIENCE = 30
Key = tuple[str, str, str]


class Careful:
    """One person, one table; ``act`` is one step."""

    def __init__(self, table: PureTable | StationTable, chance: random.Random) -> None:
        self.table, self.chance, self.places = table, chance, places()
        self.saved: dict[Key, list[Wish]] = {}
        self.order: list[Key] = []
        self.echo: Echo | None = None
        self.number, self.stale = 0, 0
        self.counts: Counter[str] = Counter()
        self.trail: deque[str] = deque(maxlen=40)
        self.undoing, self.tries = False, 0
        self.here = "K1"
        self._listen("open K1", self.table.open("K1", "R.V."))
        self.wish = self._next_wish()

    # ---- what is meant ----

    @property
    def place(self) -> Place:
        return self.places[self.here]

    def _next_wish(self) -> Wish:
        chance, place = self.chance, self.place
        self.tries, self.undoing = 0, bool(self._last()) and chance.random() < 0.1
        if chance.random() < 0.08:
            tag = chance.choice(["301", "302", "303"])
            known = self.saved.get((self.here, tag, ""))
            if not known:
                return Wish(self.here, tag, called=self._size(), new=True,
                            species=chance.choice(["", "beech", "white pine"]))  # fmt: skip
        tag = chance.choice(list(place.species))
        before = self.saved.get((self.here, tag, ""))
        stems = [key for key in self.saved if key[:2] == (self.here, tag) and key[2] and
                 self.saved[key]]  # fmt: skip
        told = before[-1].new_tag if before else None
        if before and chance.random() < 0.2 and told is None and not place.blind:
            return replace(before[-1], new_tag=chance.choice(["", "312", "313"]))
        if stems or (not before and chance.random() < 0.1):
            return Wish(self.here, tag, chance.choice("123"), called=self._size())
        if chance.random() < 0.15:
            gone = chance.choice(["dead standing", "dead down", "cut", "missing", "not found"])
            return Wish(self.here, tag, status=gone, new_tag=told)
        wish = Wish(self.here, tag, called=self._size(), new_tag=told)
        if chance.random() < 0.15:
            side = chance.choice(["girth", "diameter"])
            wish = replace(wish, side=side)
        if chance.random() < 0.1:
            unit = chance.choice(["in", "cm", "mm"])
            wish = replace(
                wish, unit=unit, called=wish.called * 10 if unit == "mm" else wish.called
            )
        if chance.random() < 0.1 and tag not in place.heights:
            wish = replace(wish, height=Decimal(chance.choice(["1.5", "1.45", "2"])))
        elif chance.random() < 0.05:
            wish = replace(wish, feet=Decimal(chance.choice(["5", "4.5", "6"])))
        if chance.random() < 0.1:
            wish = replace(wish, status="dead standing")
        return wish

    def _size(self) -> Decimal:
        """In tenths, mostly; a figure between two of them is rounded."""
        if self.chance.random() < 0.1:
            return Decimal(self.chance.randint(400, 4800)) / 100
        return Decimal(self.chance.randint(40, 480)) / 10

    def _last(self) -> Key | None:
        """What an undo takes back: the last saved row of all, if it is of this plot."""
        return self.order[-1] if self.order and self.order[-1][0] == self.here else None

    def _key(self) -> Key:
        return (self.wish.plot, self.wish.tag, self.wish.stem)

    def _stands(self, key: Key) -> Wish | None:
        """What is saved of that stem."""
        return self.saved[key][-1] if self.saved.get(key) else None

    def _is_right(self) -> bool:
        """Whether the echo that waits is what is meant, whole."""
        if self.echo is None:
            return False
        if self.undoing:
            key = self._last()
            if key is None:
                return False
            stack = self.saved[key]
            before = stack[-2] if len(stack) > 1 else None
            return fits_undo(self.echo, stack[-1], self.place, before)
        return fits(self.echo, self.wish, self.place, self._stands(self._key()))

    # ---- one step ----

    def act(self) -> None:
        """One thing said, typed, pressed, or let be."""
        chance = self.chance
        self.tries += 1
        if self.wish.plot != self.here or self.tries > PATIENCE:
            self.counts["given up"] += self.tries > PATIENCE
            self.wish = self._next_wish()
        roll = chance.random()
        if self._is_right() and roll < 0.75:
            self._say_yes()
        elif roll < 0.03:
            self._elsewhere()
        elif roll < 0.06:
            self.table.wait(chance.choice([5, 40, 400]))
            self._listen("silence", self.table.silence())
        elif roll < 0.07:
            self.table.restart()
            self.counts["restart"] += 1
            self._listen("restart", self.table.open(self.here, "R.V."))
        elif roll < 0.16:
            self._utter(chance.choice(OTHER))
        elif roll < 0.18:
            self._stray_yes()
        elif self.echo is not None and not self._is_right() and roll < 0.5:
            self._answer_wrong()
        elif self.undoing:
            self._utter("undo")
        else:
            self._call()

    def _say_yes(self) -> None:
        """To the echo that was heard; it may be the lesser word, late, or meant for an older."""
        chance, echo = self.chance, self.echo
        assert echo is not None
        kind = echo.wants if chance.random() < 0.93 else chance.choice(["confirm", "accept"])
        number, prompt = self.number, True
        if chance.random() < 0.08:
            # Something comes in between; the yes is for the echo that was heard.
            prompt = False
            right, wish = self._is_right(), self.wish
            self._between()
            if wish is not self.wish or not right:
                return
        way = chance.random()
        current = self.table.number
        if way < 0.4:
            answer = self.table.key(kind, number)
        elif way < 0.6:
            answer = self.table.typed(chance.choice(YES[kind]), number)
        elif way < 0.9 or not prompt:
            answer = self.table.voiced(chance.choice(YES[kind]), number)
        elif way < 0.95:
            self.counts["spoken over the echo"] += 1
            return  # over the echo: it is never heard
        else:
            self._utter(chance.choice(OTHER))  # a yes that is heard as something else
            return
        enough = kind == "accept" or echo.wants == "confirm"
        must = prompt and enough and number == current
        self._judge(answer, echo, must, may=enough and number == current)
        self._listen(f"{kind} to {number} of {current}", answer)

    def _between(self) -> None:
        """An echo that is right was heard, and before the yes is said something else happens."""
        roll, chance = self.chance.random(), self.chance
        if roll < 0.3:
            self._hear_no_save("silence between", self.table.silence())
        elif roll < 0.6:
            size = self._size()
            self._hear_no_save("press between", self.table.press(size, "cm", "diameter"))
        else:
            text = chance.choice([one for one in OTHER if one != "note"])
            self._hear_no_save(f"other terminal: {text}", self.table.typed(text, self.number))

    def _hear_no_save(self, what: str, answer: Answer) -> None:
        """Not listened to: the person is still at the echo before."""
        self.counts["events"] += 1
        self.trail.append(f"{what} -> {answer.texts}")
        self._never(answer)

    def _stray_yes(self) -> None:
        """Accept is pressed at another terminal, whose screen shows nothing or an older echo."""
        shown = self.chance.choice([0, self.stale, self.number - 1])
        if shown != self.table.number or shown == 0:
            kind = self.chance.choice(["accept", "confirm"])
            self._hear(f"stray {kind} to {shown}", self.table.key(kind, shown))

    def _elsewhere(self) -> None:
        """Another plot, or the same again."""
        self.here = self.chance.choice(list(self.places))
        self._listen(f"open {self.here}", self.table.open(self.here, "R.V."))
        self.wish = self._next_wish()

    def _answer_wrong(self) -> None:
        """What waits is not what is meant."""
        roll, wish = self.chance.random(), self.wish
        if roll < 0.35:
            self._utter("no")
        elif roll < 0.5:
            self._utter("scratch that")
        elif roll < 0.65 and wish.called is not None:
            self._utter(f"correction {self._sized(wish)}")
        elif roll < 0.75 and _at(wish):
            self._utter(_at(wish))
        elif roll < 0.8 and wish.status != "live":
            self._utter(wish.status)
        else:
            self._call()

    # ---- calling ----

    def _sized(self, wish: Wish) -> str:
        side = f"{wish.side} " if wish.side else ""
        unit = {"": "", "in": " inches", "cm": " centimetres", "mm": " millimetres"}[wish.unit]
        return f"{side}{wish.called}{unit}"

    def _call(self) -> None:
        """The whole wish, or its first part, in one of the ways there are."""
        wish, roll = self.wish, self.chance.random()
        echo, stem = self.echo, f" stem {wish.stem}" if wish.stem else ""
        shown = wish.new_tag or wish.tag
        if wish.new_tag is not None and (echo is None or not echo.lost) and roll < 0.6:
            new = f" new tag {wish.new_tag}" if wish.new_tag else ""
            return self._utter(f"tree {wish.tag} tag lost{new}")
        if echo is not None and echo.what.called == wish.called and wish.called is not None:
            if _at(wish) and echo.what.height != height_of(wish, self.place):
                return self._utter(_at(wish))
            if wish.status != echo.what.status and roll < 0.8:
                return self._utter(wish.status)
        tag = shown if self.chance.random() < 0.7 else wish.tag
        if wish.new:
            size = self._sized(wish) if roll < 0.8 else ""
            kind = f" {wish.species}" if wish.species else ""
            return self._utter(f"new tree {wish.tag}{kind} {size}".strip())
        if wish.called is None:
            return self._utter(f"tree {tag}{stem} {wish.status}")
        if roll < 0.2:
            return self._utter(f"tree {tag}{stem}")
        if roll < 0.35:
            return self._pull(wish, None if roll < 0.33 else wish.tag)
        if roll < 0.45:
            return self._utter(self._sized(wish))
        if roll < 0.5 and wish.status == "dead standing":
            return self._utter(f"tree {tag}{stem} {wish.status}")
        return self._utter(f"{'tree ' if roll < 0.8 else ''}{tag}{stem}, {self._sized(wish)}")

    def _pull(self, wish: Wish, tag: str | None) -> None:
        """A press of the tape; once in a while of a slack one."""
        value, place = wish.called, self.place
        assert value is not None
        value = value if self.chance.random() < 0.9 else self._size()
        answer = self.table.press(value, wish.unit or place.unit, side_of(wish, place), tag)
        self._hear(f"press {value}", answer)

    def _utter(self, text: str) -> None:
        """Typed or spoken, with the slips of fingers and ears."""
        chance = self.chance
        way, slip = chance.random(), chance.random()
        about = self.number if chance.random() < 0.9 else chance.choice([0, self.stale])
        if way < 0.45 or text.endswith(" feet"):  # feet are typed only
            typed = self._mistyped(text) if slip < 0.08 else text
            self._hear(f"type {typed!r}", self.table.typed(typed, about))
            return
        if slip < 0.05:
            self.counts["spoken over the echo"] += 1
            return
        heard = self._misheard(text) if slip < 0.2 else text
        confidence = "0.9" if chance.random() < 0.85 else "0.4"
        said = spoken(heard)
        self._hear(f"say {text!r}, heard {said!r}", self.table.voiced(said, about, confidence))

    def _mistyped(self, text: str) -> str:
        at = self.chance.randrange(len(text))
        other = self.chance.choice(["", text[at] * 2, self.chance.choice("0123456789. ")])
        return text[:at] + other + text[at + 1 :]

    def _misheard(self, text: str) -> str:
        digits = [at for at, mark in enumerate(text) if mark.isdigit()]
        if not digits or self.chance.random() < 0.3:
            return self.chance.choice(OTHER)
        at = self.chance.choice(digits)
        return text[:at] + self.chance.choice("0123456789") + text[at + 1 :]

    # ---- hearing, and judging ----

    def _hear(self, what: str, answer: Answer) -> None:
        self._never(answer)
        self._listen(what, answer)

    def _listen(self, what: str, answer: Answer) -> None:
        """What was called back last is what a yes would answer."""
        self.counts["events"] += 1
        self.trail.append(f"{what} -> {answer.texts}")
        if not answer.texts:
            return
        self.stale, self.number = self.number, self.table.number
        self.echo = waiting_echo(answer.texts[-1], SPECIES)

    def _never(self, answer: Answer) -> None:
        """No yes was said, so nothing may be stored."""
        if answer.saves:
            self._fault("stored without a yes", answer)

    def _judge(self, answer: Answer, echo: Echo, must: bool, may: bool) -> None:
        if not answer.saves:
            if must:
                self._fault("a yes to the very echo stored nothing", answer)
            return
        if not may or len(answer.saves) != 1:
            self._fault("stored, though the yes was for another echo or not enough", answer)
        stored, void = answer.saves[0]
        if void != self.undoing:
            self._fault("taken back and saved are mixed up", answer)
        key = self._last() if void else self._key()
        assert key is not None
        meant = self.saved[key][-1] if void else self.wish
        if stored != row(meant, self.places[key[0]]):
            self._fault(f"meant {row(meant, self.places[key[0]])}", answer)
        self._note_down(key, void)

    def _note_down(self, key: Key, void: bool) -> None:
        if void:
            self.saved[key].pop()
            self.order.pop()
        else:
            self.saved.setdefault(key, []).append(self.wish)
            self.order.append(key)
        self.counts["taken back" if void else "saved"] += 1
        self.wish = self._next_wish()

    def reckon(self) -> None:
        """Everything that was meant and confirmed stands, and nothing else does."""
        stored = {(str(one["plot"]), str(one["tag"]), str(one["stem"])): one
                  for one in self.table.stored()}  # fmt: skip
        meant = {key: row(stack[-1], self.places[key[0]])
                 for key, stack in self.saved.items() if stack}  # fmt: skip
        if stored != meant:
            self._fault(f"meant {meant}, stored {stored}", Answer())

    def _fault(self, what: str, answer: Answer) -> None:
        told = "\n  ".join(self.trail)
        raise AssertionError(f"{what}\n  {answer}\n  wish {self.wish}\n  {told}")


def _at(wish: Wish) -> str:
    """The height of measurement, as it is said; '' for none."""
    if wish.feet is not None:
        return f"measured at {wish.feet} feet"
    return f"measured at {wish.height} metres" if wish.height is not None else ""


def spoken(text: str) -> str:
    """Figures digit by digit, as they are called; letters and words as they are."""
    found = []
    for word in text.replace(",", " diameter" if "girth" not in text else "").split():
        if word.replace(".", "").isdigit():
            found += ["point" if mark == "." else WORDS[int(mark)] for mark in word]
        else:
            found.append(word)
    told = " ".join(found).replace("diameter diameter", "diameter")
    return told if not text[:1].isdigit() or "." in text.split()[0] else f"tree {told}"
