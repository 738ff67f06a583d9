"""The daemon's log: what happened and when, in a few rotating files readable only by the user.

It holds no spoken word and no value, unless that was asked for.
"""

from __future__ import annotations

import logging
import os
from logging.handlers import RotatingFileHandler
from pathlib import Path

from callout.core.errors import StorageError
from callout.core.events import Heard, Save, Say
from callout.station.done import Done
from callout.survey.files import FILE_MODE, FOLDER_MODE
from callout.wording.wording import Wording

MOST_BYTES = 256_000
FILES = 4
LOGGER = logging.getLogger("callout.daemon")


class _Private(RotatingFileHandler):
    """Never readable by others, rotated files included; a full disk does not stop work."""

    def _open(self):  # type: ignore[no-untyped-def]  # as the base class has it
        return os.fdopen(
            os.open(self.baseFilename, os.O_WRONLY | os.O_APPEND | os.O_CREAT, FILE_MODE),
            "a",
            encoding="utf-8",
            errors="replace",
        )

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - the base class's name
        """There is no place left to report the failure."""


def open_log(path: Path) -> logging.Logger:
    """The log at ``path``. Raises StorageError if it cannot be made."""
    try:
        path.parent.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        handler = _Private(path, maxBytes=MOST_BYTES, backupCount=FILES - 1)
    except OSError as error:
        raise StorageError(
            f"cannot write the log {path}: {error.strerror}: check permissions"
        ) from error
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    LOGGER.setLevel(logging.INFO)
    LOGGER.propagate = False
    for old in list(LOGGER.handlers):
        LOGGER.removeHandler(old)
        old.close()
    LOGGER.addHandler(handler)
    return LOGGER


def log_done(done: Done, speech: bool, wording: Wording) -> None:
    """One line for what was done; words and values only where ``speech`` asks for them."""
    event, parts = done.event, []
    if isinstance(event, Heard):
        sure = "" if event.confidence is None else f" confidence {event.confidence}"
        parts.append(f"entry {event.entry} {event.source}{sure}")
        if event.problem is not None:
            parts.append("not taken")
        if speech:
            parts.append(f"words {event.words!r}")
    for effect in done.effects:
        if isinstance(effect, Save):
            parts.append(f"saved entry {effect.reading.entry}")
        elif isinstance(effect, Say) and speech:
            parts.append(f"said {wording.shown(*effect.says)!r}")
    if parts:
        LOGGER.info("; ".join(parts))
