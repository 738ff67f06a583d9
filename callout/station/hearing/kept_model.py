"""The default engine's model in its lean form, kept in the user's cache.

A start loads it only if it is, to the bit, what ``lean`` made when it was tested; anything wrong
with it means making it again, or taking the package's own.
"""

from __future__ import annotations

import hashlib
import shutil
from contextlib import suppress
from pathlib import Path

from callout.core.errors import CalloutError
from callout.speech.closed.encoder import packaged
from callout.speech.closed.lean import LEAN_SHA256, lean
from callout.survey.files import FOLDER_MODE, cache_folder, new_folder

_MODEL, _BESIDE = "model.bin", ("config.json", "tokenizer.json", "vocabulary.txt")
_LEAST_FREE_BYTES = 1_000_000_000
"""On a disk that is fuller the measurements need the room more."""


def model_folder() -> Path:
    """The folder to load the model from. Raises DeviceError if there is no model."""
    kept = cache_folder("models") / LEAN_SHA256[:12]
    if _is_right(kept):
        return kept
    package = packaged()
    with suppress(OSError, CalloutError):  # no room, or another process is making it
        _make(kept, package)
    return kept if _is_right(kept) else package


def _make(kept: Path, package: Path) -> None:
    kept.parent.mkdir(parents=True, exist_ok=True, mode=FOLDER_MODE)
    if shutil.disk_usage(kept.parent).free < _LEAST_FREE_BYTES:
        return
    if kept.exists():
        if _is_right(kept):  # another process was quicker, and loads it now
            return
        shutil.rmtree(kept)
    with new_folder(kept) as building:
        for name in _BESIDE:
            shutil.copyfile(package / name, building / name)
        with (building / _MODEL).open("wb") as file:
            file.writelines(lean((package / _MODEL).read_bytes()))


def _is_right(folder: Path) -> bool:
    with suppress(OSError), (folder / _MODEL).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == LEAN_SHA256
    return False
