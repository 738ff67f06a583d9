"""What the daemon's tests share besides their fixtures."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from waiting import wait_for

from callout.daemon.remote import RemoteFace
from callout.daemon.socket_place import socket_path
from callout.journal.folder import SurveyFolder

Start = Callable[..., "subprocess.Popen[bytes]"]


@dataclass(frozen=True)
class Shared:
    """A daemon that several tests ask, its survey, and the folder of all it makes."""

    fen: SurveyFolder
    process: subprocess.Popen[bytes]
    places: Path

    @property
    def path(self) -> Path:
        """The daemon's socket."""
        return socket_path(self.fen.path)

    def saved(self, tag: str) -> list[str]:
        """The sizes of a tree that were saved."""
        with self.fen.reading() as reader:
            return [str(item.value) for item in reader.readings() if item.tag == tag]


def all_told(face: RemoteFace) -> None:
    """Neither microphone nor loudspeaker here: until both are told of, and nothing else is said."""
    for missing in ("There is no microphone", "no spoken echo"):
        wait_for(lambda missing=missing: any(missing in one for one in face.view().faults))  # type: ignore[misc]
