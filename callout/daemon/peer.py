"""Checks who is at the other end of a Unix socket: only the same user is served."""

from __future__ import annotations

import os
import socket
import struct

_CREDENTIALS = struct.Struct("3i")


def same_user(connection: socket.socket) -> bool:
    """Whether the other end belongs to our own user, according to the kernel.

    Where the system cannot tell (Linux can), the socket's folder alone keeps others out.
    """
    option = getattr(socket, "SO_PEERCRED", None)
    if option is None:
        return True
    found = connection.getsockopt(socket.SOL_SOCKET, option, _CREDENTIALS.size)
    _, user, _ = _CREDENTIALS.unpack(found)
    return int(user) == os.geteuid()
