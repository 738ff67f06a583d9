"""What the daemon's tests share besides their fixtures."""

from __future__ import annotations

import subprocess
from collections.abc import Callable

from waiting import wait_for

from callout.daemon.remote import RemoteFace

Start = Callable[..., "subprocess.Popen[bytes]"]


def all_told(face: RemoteFace) -> None:
    """Neither microphone nor loudspeaker here: until both are told of, and nothing else is said."""
    for missing in ("There is no microphone", "no spoken echo"):
        wait_for(lambda missing=missing: any(missing in one for one in face.view().faults))  # type: ignore[misc]
