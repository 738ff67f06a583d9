"""The microphone's current state, asked of PulseAudio by its own library through ctypes.

A stream there goes on when its source is removed and recreated (a headset's other profile) or when
another becomes the default; only asking shows it. Capturing is in `microphone`. Calls and layouts
after the headers of libpulse 16 (context.h, introspect.h, mainloop.h); PipeWire's server answers
the same calls.
"""

from __future__ import annotations

import contextlib
import ctypes
import functools
import time
from collections.abc import Callable
from ctypes import POINTER, c_char_p, c_int, c_uint8, c_uint32, c_void_p
from dataclasses import dataclass
from typing import Any

from callout.core.errors import DeviceError

_READY = 4
_NO_AUTOSPAWN = 1
_RUNNING = 0
ALLOWED_S = 0.3
"""A local server answers in a fifth of a millisecond."""


class SourceChangedError(DeviceError):
    """The stream goes on, from another microphone or another profile of the same one."""


class SleptError(SourceChangedError):
    """The machine slept: what follows in the stream belongs to another time."""


@dataclass(frozen=True, slots=True)
class Source:
    """The current state of a source: a recreated source has another number."""

    name: str
    number: int
    rate_hz: int
    channels: int


class _Info(ctypes.Structure):
    """The start of pa_source_info; the rest is not read."""

    _fields_ = (
        ("name", c_char_p),
        ("index", c_uint32),
        ("description", c_char_p),
        ("format", c_int),
        ("rate", c_uint32),
        ("channels", c_uint8),
    )


_Done = Callable[[], bool]
_TELL = ctypes.CFUNCTYPE(None, c_void_p, POINTER(_Info), c_int, c_void_p)

_CALLS: tuple[tuple[str, object, tuple[object, ...]], ...] = (
    ("pa_mainloop_new", c_void_p, ()),
    ("pa_mainloop_free", None, (c_void_p,)),
    ("pa_mainloop_get_api", c_void_p, (c_void_p,)),
    ("pa_mainloop_prepare", c_int, (c_void_p, c_int)),
    ("pa_mainloop_poll", c_int, (c_void_p,)),
    ("pa_mainloop_dispatch", c_int, (c_void_p,)),
    ("pa_context_new", c_void_p, (c_void_p, c_char_p)),
    ("pa_context_connect", c_int, (c_void_p, c_char_p, c_int, c_void_p)),
    ("pa_context_get_state", c_int, (c_void_p,)),
    ("pa_context_disconnect", None, (c_void_p,)),
    ("pa_context_unref", None, (c_void_p,)),
    ("pa_context_get_source_info_by_name", c_void_p, (c_void_p, c_char_p, _TELL, c_void_p)),
    ("pa_operation_get_state", c_int, (c_void_p,)),
    ("pa_operation_cancel", None, (c_void_p,)),
    ("pa_operation_unref", None, (c_void_p,)),
)


class SourceWatch:
    """One connection, used from one thread at a time; never waits longer than ``ALLOWED_S``."""

    def __init__(self, name: bytes | None) -> None:
        """``name`` is the server's name for the source; None for the default."""
        self._name = name
        self._library = _library()
        self._loop: int | None = None
        self._context: int | None = None
        self._found: Source | None = None
        self._first: Source | None = None
        self._tell = _TELL(self._told)
        if self._library is not None:
            self._connect(self._library)
        with contextlib.suppress(TimeoutError):
            self._first = self.source()

    @property
    def watches(self) -> bool:
        """Whether there is a server to ask."""
        return self._context is not None

    @property
    def changed(self) -> bool:
        """Whether it is another than in the beginning, or gone. A late answer is none."""
        if not self.watches:
            return False
        try:
            now = self.source()
        except TimeoutError:
            return False
        self._first = self._first or now
        return now is None or now != self._first

    def settle(self) -> None:
        """The stream runs: opening it may have changed the rate of a source that was idle."""
        first = self._first
        if not self.changed or first is None:
            return
        with contextlib.suppress(TimeoutError):
            now = self.source()
            if now is not None and now.number == first.number:
                self._first = now

    def source(self) -> Source | None:
        """The current state; None if the source or the server is gone. Raises TimeoutError."""
        library = self._library
        if library is None or self._context is None:
            return None
        self._found = None
        asked = library.pa_context_get_source_info_by_name(
            self._context, self._name, self._tell, None
        )
        if not asked:
            return None
        self._turn(library, lambda: library.pa_operation_get_state(asked) != _RUNNING)
        late = library.pa_operation_get_state(asked) == _RUNNING
        library.pa_operation_cancel(asked)
        library.pa_operation_unref(asked)
        if late:
            raise TimeoutError
        return self._found

    def close(self) -> None:
        """Close the connection."""
        library, loop, context = self._library, self._loop, self._context
        self._loop = self._context = None
        if library is None or loop is None:
            return
        if context is not None:
            library.pa_context_disconnect(context)
            library.pa_context_unref(context)
        library.pa_mainloop_free(loop)

    def _connect(self, library: ctypes.CDLL) -> None:
        self._loop = library.pa_mainloop_new()
        self._context = library.pa_context_new(
            library.pa_mainloop_get_api(self._loop), b"callout watches its microphone"
        )
        library.pa_context_connect(self._context, None, _NO_AUTOSPAWN, None)
        self._turn(library, lambda: library.pa_context_get_state(self._context) >= _READY)
        if library.pa_context_get_state(self._context) != _READY:
            self.close()

    def _turn(self, library: ctypes.CDLL, done: _Done) -> None:
        """Run the library's loop until ``done``, or until the time is up."""
        until = time.monotonic() + ALLOWED_S
        while not done() and (left_s := until - time.monotonic()) > 0:
            if library.pa_mainloop_prepare(self._loop, int(left_s * 1e6)) < 0:
                return
            if library.pa_mainloop_poll(self._loop) < 0:
                return
            if library.pa_mainloop_dispatch(self._loop) < 0:
                return

    def _told(self, context: int, info: Any, last: int, given: int) -> None:
        if last == 0 and info:
            it = info.contents
            self._found = Source(it.name.decode("utf-8", "replace"), it.index, it.rate, it.channels)


@functools.cache
def _library() -> ctypes.CDLL | None:
    try:
        library = ctypes.CDLL("libpulse.so.0")
        for name, result, arguments in _CALLS:
            call: Any = getattr(library, name)
            call.restype, call.argtypes = result, arguments
    except (OSError, AttributeError):
        return None
    return library
