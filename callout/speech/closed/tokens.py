"""Words as the tokens of Whisper's decoder: byte-pair encoding as the model's own file tells it.

R. Sennrich and others, 2016: the pair that was learnt first is joined first. Only what a callout
needs: words with a space before them. The library ``tokenizers`` does the same, but brings a client
for a model hub with it, which has no place in the woods.
"""

from __future__ import annotations

import json
import re
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

from callout.core.errors import DeviceError

_PIECES = re.compile(r" ?[^\s']+|'\w+")
_FULL_STOP = "."


class Tokens:
    """Token numbers of word strings, from a model's ``tokenizer.json``."""

    def __init__(self, path: Path) -> None:
        """Raises DeviceError if the file cannot be used."""
        try:
            model = json.loads(path.read_text(encoding="utf-8"))["model"]
            self._numbers: dict[str, int] = dict(model["vocab"])
            pairs = (one if isinstance(one, str) else " ".join(one) for one in model["merges"])
            self._ranks = {pair: rank for rank, pair in enumerate(pairs)}
            self._stop = self._numbers[_FULL_STOP]
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise DeviceError(f"the tokens in {path} cannot be read: {error}") from error

    def sentence(self, words: tuple[str, ...]) -> list[int]:
        """``words`` as a sentence: each with a space before it, a full stop at the end."""
        return [number for word in words for number in self._of(word)] + [self._stop]

    @lru_cache(maxsize=4096)  # noqa: B019  one for each model that is loaded
    def _of(self, word: str) -> tuple[int, ...]:
        pieces = _PIECES.findall(f" {word}")
        return tuple(self._numbers[part] for piece in pieces for part in self._joined(piece))

    def _joined(self, piece: str) -> list[str]:
        parts = [_letters()[byte] for byte in piece.encode()]
        while len(parts) > 1:
            ranks = [self._ranks.get(" ".join(pair)) for pair in pairwise(parts)]
            known = [rank for rank in ranks if rank is not None]
            if not known:
                break
            at = ranks.index(min(known))
            parts[at : at + 2] = [parts[at] + parts[at + 1]]
        return parts


@lru_cache(maxsize=1)
def _letters() -> list[str]:
    """How the model's file writes each byte: printable ones as themselves, others moved up."""
    shown = {*range(ord("!"), ord("~") + 1), *range(0xA1, 0xAC + 1), *range(0xAE, 0xFF + 1)}
    letters, moved = [], 256
    for byte in range(256):
        letters.append(chr(byte if byte in shown else moved))
        moved += byte not in shown
    return letters
