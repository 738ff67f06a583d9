"""The path of a survey's daemon socket, in a folder that nobody else may enter.

Only names and permissions; nothing is sent here.
"""

from __future__ import annotations

import hashlib
import os
import stat
import tempfile
from pathlib import Path

from callout.core.errors import OperatorError, StorageError
from callout.survey.files import FILE_MODE, FOLDER_MODE

SOCKET_MODE = FILE_MODE


def _key(survey: Path) -> str:
    """The same for every path to one survey."""
    return hashlib.sha256(os.fsencode(survey.resolve())).hexdigest()[:16]


def runtime_folder() -> Path:
    """The folder for sockets: the session's own, else one of ours among temporary files."""
    given = os.environ.get("XDG_RUNTIME_DIR")
    if given and Path(given).is_dir():
        return Path(given) / "callout"
    return Path(tempfile.gettempdir()) / f"callout-{os.getuid()}"


def socket_path(survey: Path) -> Path:
    """The socket of ``survey``'s daemon, whether or not one runs."""
    return runtime_folder() / f"{_key(survey)}.sock"


def safe_folder(folder: Path) -> Path:
    """``folder``, made if need be. Raises OperatorError unless it is ours and closed to others."""
    try:
        folder.mkdir(mode=FOLDER_MODE, exist_ok=True)
        # Not following a link: others may write among temporary files.
        found = folder.lstat()
    except OSError as error:
        raise StorageError(f"cannot make {folder}: {error.strerror}: check permissions") from error
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.getuid():
        raise OperatorError(f"{folder} is not a folder of yours: remove it, then again")
    if stat.S_IMODE(found.st_mode) & 0o077:
        raise OperatorError(f"{folder} is open to other users: chmod 700 {folder}, then again")
    return folder


def log_path(survey: Path) -> Path:
    """The daemon's log: with the user's other state, never inside the survey."""
    given = os.environ.get("XDG_STATE_HOME")
    base = Path(given) if given else Path.home() / ".local" / "state"
    return base / "callout" / f"{_key(survey)}.log"


def unit_name(survey: Path) -> str:
    """The systemd unit's name: the folder's name if that is plain, and its key."""
    plain = "".join(char for char in survey.resolve().name if char.isascii() and char.isalnum())
    return f"callout-{plain[:32] or 'survey'}-{_key(survey)[:8]}.service"
