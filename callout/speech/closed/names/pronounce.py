"""How words are said, as phones: by dictionary, as two words of it, or from letters to sound.

The phones are the 39 of the CMU Pronouncing Dictionary without stress; the dictionary is the one
that PocketSphinx carries (BSD licence). A language's own ``.dict`` lines come before it. A word
that neither has is tried as two that they have ("bass wood"), and put from letters to sound by
whatever ``sounds`` does: at work espeak-ng. So any word can be listened for. No sound here.
"""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from callout.core.errors import DeviceError

BLANK_SIGN = "<blank>"
PHONES = (
    "AA",
    "AE",
    "AH",
    "AO",
    "AW",
    "AY",
    "B",
    "CH",
    "D",
    "DH",
    "EH",
    "ER",
    "EY",
    "F",
    "G",
    "HH",
    "IH",
    "IY",
    "JH",
    "K",
    "L",
    "M",
    "N",
    "NG",
    "OW",
    "OY",
    "P",
    "R",
    "S",
    "SH",
    "T",
    "TH",
    "UH",
    "UW",
    "V",
    "W",
    "Y",
    "Z",
    "ZH",
)
SIGNS = (BLANK_SIGN, *PHONES)
_NUMBER = {phone: at for at, phone in enumerate(SIGNS)}

_PART = 3
"""Letters of the shorter of two words put together."""
Spelling = tuple[int, ...]
Sounds = Callable[[str], str]
"""A word to its sounds in the International Phonetic Alphabet; nothing where it has none."""

# The alphabet's signs for General American, longest first where one begins another.
_IPA = {
    "ɚɹ": "ER",
    "ɜːɹ": "ER",
    "tʃ": "CH",
    "dʒ": "JH",
    "eɪ": "EY",
    "aɪ": "AY",
    "ɔɪ": "OY",
    "aʊ": "AW",
    "oʊ": "OW",
    "əʊ": "OW",
    "ɑː": "AA",
    "ɔː": "AO",
    "iː": "IY",
    "uː": "UW",
    "ɜː": "ER",
    "ɚ": "ER",
    "ɝ": "ER",
    "ɑ": "AA",
    "ɒ": "AA",
    "ɔ": "AO",
    "o": "AO",
    "æ": "AE",
    "a": "AE",
    "ʌ": "AH",
    "ə": "AH",
    "ɐ": "AH",
    "ɛ": "EH",
    "e": "EH",
    "ɪ": "IH",
    "ᵻ": "IH",
    "i": "IY",
    "ʊ": "UH",
    "u": "UW",
    "b": "B",
    "d": "D",
    "ð": "DH",
    "f": "F",
    "ɡ": "G",
    "g": "G",
    "h": "HH",
    "x": "K",
    "ç": "HH",
    "k": "K",
    "l": "L",
    "ɫ": "L",
    "m": "M",
    "n": "N",
    "ŋ": "NG",
    "p": "P",
    "ɹ": "R",
    "r": "R",
    "ɾ": "T",
    "s": "S",
    "ʃ": "SH",
    "t": "T",
    "ʔ": "T",
    "θ": "TH",
    "v": "V",
    "w": "W",
    "j": "Y",
    "z": "Z",
    "ʒ": "ZH",
}
_SIGN = re.compile("|".join(sorted(map(re.escape, _IPA), key=len, reverse=True)))


class Pronouncer:
    """Words to their spellings in phone numbers, blank being 0."""

    def __init__(
        self, own: Mapping[str, str] | None = None, sounds: Sounds = lambda word: ""
    ) -> None:
        """``own`` are a language's lines, word to phones; ``sounds`` is for what no list has."""
        self._own, self._sounds = dict(own or {}), sounds
        self._known: dict[str, tuple[Spelling, ...]] = {}

    def learn(self, words: Iterable[str]) -> None:
        """Look these words up together: the dictionary is read once for all of them."""
        wanted = set(words) - self._known.keys()
        parts = {part for word in wanted for pair in _cut(word) for part in pair}
        found = _looked_up(wanted | parts) if wanted else {}
        found |= {word: [line] for word, line in self._own.items()}
        for word in wanted:
            spelt = [spelling(line) for line in found.get(word.lower(), ())]
            if not spelt:
                spelt = [*_as_two(word, found), from_ipa(self._sounds(word))]
            self._known[word] = tuple(dict.fromkeys(one for one in spelt if one))

    def of(self, word: str) -> tuple[Spelling, ...]:
        """Every way in which ``word`` is said; none if nobody can tell."""
        if word not in self._known:
            self.learn([word])
        return self._known[word]


def spelling(line: str) -> Spelling:
    """Phones parted by spaces, with or without the digits of stress, as numbers; else empty."""
    names = [name.rstrip("012") for name in line.split()]
    return tuple(_NUMBER[name] for name in names) if set(names) <= _NUMBER.keys() else ()


def from_ipa(signs: str) -> Spelling:
    """Phones for signs of the International Phonetic Alphabet; marks of stress are passed over."""
    return tuple(_NUMBER[_IPA[sign]] for sign in _SIGN.findall(signs))


def _cut(word: str) -> list[tuple[str, str]]:
    """Every two words that ``word`` may be put together from."""
    word = word.lower()
    return [(word[:at], word[at:]) for at in range(_PART, len(word) - _PART + 1)]


def _as_two(word: str, found: Mapping[str, list[str]]) -> list[Spelling]:
    return [
        spelling(f"{first} {second}")
        for one, other in _cut(word)
        for first in found.get(one, ())
        for second in found.get(other, ())
    ]


def _looked_up(words: set[str]) -> dict[str, list[str]]:
    wanted = {word.lower() for word in words}
    found: dict[str, list[str]] = {}
    for line in _dictionary().read_text(encoding="utf-8").splitlines() if wanted else ():
        head, _, phones = line.partition(" ")
        word = head.partition("(")[0]
        if word in wanted:
            found.setdefault(word, []).append(phones)
    return found


def _dictionary() -> Path:
    spec = importlib.util.find_spec("pocketsphinx")
    if spec is None or spec.origin is None:
        raise DeviceError("the package pocketsphinx is not installed: pip install it")
    path = Path(spec.origin).parent / "model" / "en-us" / "cmudict-en-us.dict"
    if not path.is_file():
        raise DeviceError(f"{path} is missing: install pocketsphinx again")
    return path
