"""Cuts a stream of bytes into lines, in bounded memory whatever arrives.

Pure: bytes with their arrival time go in, whole lines come out. ``lines`` reads a line; ``intake``
limits how many may come a second.
"""

from __future__ import annotations

from callout.devices.measurement import Reason, Refused

_ONE_ENDING = bytes.maketrans(b"\r\0", b"\n\n")


class LineFramer:
    """Lines ended by CR, LF, both, or NUL; at most ``longest`` bytes each.

    A line with a gap of more than ``patience_s`` seconds inside is dropped whole: its halves may
    not belong together, and either alone could be taken for another number.
    """

    def __init__(self, longest: int = 256, patience_s: float = 2.0) -> None:
        self._longest = longest
        self._patience_s = patience_s
        self._partial = b""
        self._spoiled: Reason | None = None
        self._last_s = float("-inf")

    def feed(self, data: bytes, at_s: float) -> tuple[list[bytes], list[Refused]]:
        """The lines that ``data`` completes, and what was dropped. ``at_s``: monotonic seconds."""
        if self._partial and at_s - self._last_s > self._patience_s:
            self.spoil(Reason.CUT)
        self._last_s = at_s
        pieces = (self._partial + data.translate(_ONE_ENDING)).split(b"\n")
        self._partial = pieces.pop()
        lines: list[bytes] = []
        dropped: list[Refused] = []
        if pieces and self._spoiled is not None:
            dropped.append(Refused(self._spoiled, raw=pieces.pop(0)[:64]))
            self._spoiled = None
        lines = [piece for piece in pieces if 0 < len(piece) <= self._longest]
        long_ones = [piece for piece in pieces if len(piece) > self._longest]
        if long_ones:
            dropped.append(Refused(Reason.TOO_LONG, len(long_ones), long_ones[0][:64]))
        if len(self._partial) > self._longest:
            self.spoil(Reason.TOO_LONG)
        return lines, dropped

    def spoil(self, why: Reason) -> None:
        """Drop the current line: its bytes so far now, the rest up to its end as they come."""
        self._partial = b""
        self._spoiled = self._spoiled or why

    def reset(self) -> list[Refused]:
        """Discard an unfinished line, since the port is gone and the rest will not come."""
        lost, had = self._partial, bool(self._partial) or self._spoiled is not None
        self._partial, self._spoiled = b"", None
        return [Refused(Reason.CUT, raw=lost[:64])] if had else []

    @property
    def held(self) -> int:
        """The number of bytes held of an unfinished line."""
        return len(self._partial)
