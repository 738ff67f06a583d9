"""Starts the recogniser's process, and nothing more: so light that a start can do it first.

Python and the libraries then load on another core while the screen is drawn.
"""

from __future__ import annotations

import os
import subprocess
import sys
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


def _our_path() -> str:
    """Put our own package first: the current folder is never searched."""
    here = str(Path(__file__).resolve().parents[3])
    return os.pathsep.join([here, *filter(None, [os.environ.get("PYTHONPATH", "")])])
