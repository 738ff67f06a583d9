"""Starts the recogniser's process, and nothing more: so light that a start can do it first.

Python and the libraries then load on another core while the screen is drawn.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

Child = subprocess.Popen[bytes]
_CHILD = "callout.station.hearing.apart_child"


def launched(expects: str = "") -> Child:
    """The process, waiting for its first order; it ends with the calling thread.

    Meanwhile it loads what the engine ``expects`` will need, if that is known.
    """
    child = subprocess.Popen(
        [sys.executable, "-P", "-m", _CHILD, str(os.getpid()), expects],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,  # a crashing library's messages would spoil the screen
        bufsize=0,
        env={**os.environ, "PYTHONPATH": _our_path()},
    )
    assert child.stdin is not None
    os.set_blocking(child.stdin.fileno(), False)
    return child


@contextmanager
def launching(expects: str) -> Iterator[Child]:
    """As ``launched``, for as long as it is needed."""
    child = launched(expects)
    try:
        yield child
    finally:
        end(child)


def end(child: Child) -> None:
    """Kill the process, if it has not ended, and close its pipes."""
    child.kill()
    child.wait()
    for pipe in (child.stdin, child.stdout):
        if pipe is not None:
            with suppress(OSError):  # what was still to be sent has no reader
                pipe.close()


def _our_path() -> str:
    """Put our own package first: the current folder is never searched."""
    here = str(Path(__file__).resolve().parents[3])
    return os.pathsep.join([here, *filter(None, [os.environ.get("PYTHONPATH", "")])])
