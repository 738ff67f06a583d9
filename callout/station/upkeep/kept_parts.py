"""A session's state as bytes, plot by plot, so that a start loads the plots it works in only.

Nothing is written here, and nothing is checked: whose bytes these are, and where they lie, is
``kept_state``'s.
Values of our own pure parts, numbers and days are taken from them, and nothing else.
"""

from __future__ import annotations

import gc
import io
import pickle
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from typing import Any, Generic, TypeVar

from callout.core.model import Reading, Tree
from callout.session.records import Done, Stems
from callout.session.state import Memory

_Value = TypeVar("_Value")
_LENGTH_BYTES = 8
_OURS = ("callout.core.", "callout.session.", "callout.station.upkeep.rebuild")
_THEIRS = {("decimal", "Decimal"), ("datetime", "date"), ("types", "MappingProxyType")}
_TREES, _SAVED, _DONE = "trees", "saved", "done"
Known = dict[str, Any]
"""What a session knows of its survey, by name."""
ReadBytes = Callable[[int, int], bytes]
"""The bytes of a state from one place to another."""


class Parts:
    """The plots of one kept state, each read when it is first asked for."""

    def __init__(self) -> None:
        self._bytes: ReadBytes = lambda begin, end: b""
        self._places: Mapping[str, tuple[int, int]] = {}
        self._read: dict[str, dict[str, Any]] = {}
        self._trees: dict[str, Trees] = {}

    def lie_in(self, read: ReadBytes, places: Mapping[str, tuple[int, int]]) -> None:
        """Where each begins and ends."""
        self._bytes, self._places = read, places

    def raw(self, plot: str) -> bytes:
        """The plot's bytes as they are."""
        return self._bytes(*self._places[plot])

    def of(self, plot: str, what: str) -> Any:
        """One of the plot's three."""
        if plot not in self._read:
            self._read[plot] = OnlyOurs(io.BytesIO(self.raw(plot))).load()
        return self._read[plot][what]

    def lazy(self, told: Any) -> Any:
        """What stands in a state for something that is kept apart."""
        what, plot = told
        if what == _TREES:  # the same ones wherever they are named
            return self._trees.setdefault(plot, Trees(self, plot, _TREES))
        return SavedTrees(self, plot, _SAVED) if what == _SAVED else Done(_Dones(self, plot), plot)


class _Lazy(Mapping[str, _Value], Generic[_Value]):
    """A plot's mapping, read when it is first looked into."""

    def __init__(self, parts: Parts, plot: str, what: str) -> None:
        self.parts, self.plot, self._what = parts, plot, what

    @cached_property
    def _own(self) -> Mapping[str, _Value]:
        found: Mapping[str, _Value] = self.parts.of(self.plot, self._what)
        return found

    def __getitem__(self, key: str) -> _Value:
        return self._own[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._own)

    def __len__(self) -> int:
        return len(self._own)

    def __contains__(self, key: object) -> bool:
        return key in self._own

    def __repr__(self) -> str:
        return repr(self._own)


class Trees(_Lazy[Tree]):
    """A plot's trees of the roster."""


class SavedTrees(_Lazy[Stems]):
    """A plot's trees that have a reading, each with its stems."""


class _Dones(Mapping[str, tuple[Reading, ...]]):
    """What undo may take back, by plot."""

    def __init__(self, parts: Parts, lasts: Mapping[str, int]) -> None:
        self._parts, self._lasts = parts, lasts

    def __getitem__(self, plot: str) -> tuple[Reading, ...]:
        if plot not in self._lasts:
            raise KeyError(plot)
        found: tuple[Reading, ...] = self._parts.of(plot, _DONE)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._lasts)

    def __len__(self) -> int:
        return len(self._lasts)


# ---- to bytes, and back ----


def to_bytes(known: Known, trees: Mapping[str, Mapping[str, Tree]], memory: Memory) -> list[bytes]:
    """The whole state, in pieces; ``trees`` are those of the survey, by plot.

    Plots that nobody looked into since they were read go over as they are.
    """
    saved, done = memory.saved, memory.done
    measured = dict.fromkeys(saved.plots)
    blobs: list[bytes] = []
    places: dict[str, tuple[int, int]] = {}
    apart: dict[int, tuple[str, Any]] = {}
    end = 0
    for plot in {**dict.fromkeys(trees), **measured, **dict.fromkeys(done)}:
        standing, read = trees.get(plot, {}), saved.trees(plot)
        blob = _as_it_was(plot, standing, read if plot in measured else None, done)
        if blob is None:
            three = {_TREES: dict(standing), _SAVED: dict(read), _DONE: done.get(plot, ())}
            blob = pickle.dumps(three)
        blobs.append(blob)
        places[plot] = (end, end + len(blob))
        end += len(blob)
        if plot in trees:
            apart[id(standing)] = (_TREES, plot)
        if plot in measured:
            apart[id(read)] = (_SAVED, plot)
    apart[id(done)] = (_DONE, {plot: done.last(plot) for plot in done})
    core = io.BytesIO()
    _Apart(core, apart).dump((places, known, memory))
    told = core.getvalue()
    return [len(told).to_bytes(_LENGTH_BYTES, "big"), told, *blobs]


def from_bytes(read: ReadBytes) -> tuple[Known, Memory]:
    """What ``to_bytes`` wrote; its plots are read when they are first looked into."""
    begins = _LENGTH_BYTES + int.from_bytes(read(0, _LENGTH_BYTES), "big")
    parts = Parts()
    collects = gc.isenabled()
    gc.disable()  # it would look again and again through values that all stay
    try:
        told = OnlyOurs(io.BytesIO(read(_LENGTH_BYTES, begins)), parts).load()
    finally:
        if collects:
            gc.enable()
    places, known, memory = told
    parts.lie_in(lambda begin, end: read(begins + begin, begins + end), places)
    if not isinstance(memory, Memory):
        raise ValueError("no state")
    return dict(known), memory


def _as_it_was(
    plot: str, standing: Mapping[str, Tree], read: Mapping[str, Stems] | None, done: Done
) -> bytes | None:
    if not isinstance(standing, Trees) or not (read is None or isinstance(read, SavedTrees)):
        return None
    return standing.parts.raw(plot) if plot not in done or done.as_kept(plot) else None


class _Apart(pickle.Pickler):
    """Leaves out what is kept apart, and names it."""

    def __init__(self, file: io.BytesIO, apart: Mapping[int, tuple[str, Any]]) -> None:
        super().__init__(file)
        self._of = apart

    def persistent_id(self, item: Any) -> Any:
        return self._of.get(id(item))


class OnlyOurs(pickle.Unpickler):
    """Takes values of our own pure parts, and numbers and days; nothing else."""

    def __init__(self, file: io.BytesIO, parts: Parts | None = None) -> None:
        super().__init__(file)
        self._parts = parts

    def find_class(self, module: str, name: str) -> Any:
        if f"{module}.".startswith(_OURS) or (module, name) in _THEIRS:
            return super().find_class(module, name)
        raise pickle.UnpicklingError(f"{module}.{name} is no part of a state")

    def persistent_load(self, told: Any) -> Any:
        if self._parts is None:
            raise pickle.UnpicklingError("nothing is kept apart here")
        return self._parts.lazy(told)
