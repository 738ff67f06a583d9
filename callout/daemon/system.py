"""The service manager: status messages to systemd, and the unit that lets it start the daemon.

Nothing is installed without being asked; without systemd the messages go nowhere.
"""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import Sequence
from pathlib import Path

from callout.core.errors import OperatorError

WATCHDOG_S = 60


def notify(state: str) -> None:
    """Tell the service manager, by the protocol of sd_notify(3): READY=1, WATCHDOG=1, …"""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")):
        return
    name = "\0" + address[1:] if address.startswith("@") else address
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sink:
        sink.settimeout(1.0)
        sink.sendto(state.encode(), name)


def watchdog_s() -> float | None:
    """How often the service manager wants a sign of life (sd_watchdog_enabled(3)), or None."""
    given, pid = os.environ.get("WATCHDOG_USEC", ""), os.environ.get("WATCHDOG_PID", "")
    if not given.isdigit() or int(given) == 0 or (pid and pid != str(os.getpid())):
        return None
    return int(given) / 1_000_000


def unit_folder() -> Path:
    """The folder of a user's own units (systemd.unit(5))."""
    given = os.environ.get("XDG_CONFIG_HOME")
    return (Path(given) if given else Path.home() / ".config") / "systemd" / "user"


def unit_text(survey: Path, command: Sequence[str]) -> str:
    """The unit that runs ``command`` for ``survey``. Raises OperatorError for unusable paths."""
    name = survey.name if survey.name.isprintable() else "survey"
    return f"""[Unit]
Description=Callout, the second person, for {name.replace("%", "%%")}
StartLimitIntervalSec=300
StartLimitBurst=10

[Service]
Type=notify
NotifyAccess=main
ExecStart={" ".join(map(_quoted, command))}
WatchdogSec={WATCHDOG_S}
Restart=on-failure
RestartSec=2
# Bad settings (2) or a survey already in use: starting again would not help.
RestartPreventExitStatus=2
KillMode=mixed
TimeoutStopSec=20
UMask=0077
NoNewPrivileges=yes
# No network: the control socket, the sound server and Bluetooth only.
RestrictAddressFamilies=AF_UNIX AF_NETLINK AF_BLUETOOTH

[Install]
WantedBy=default.target
"""


def _quoted(argument: str) -> str:
    """One argument as systemd.service(5) wants it: quoted, with its own marks doubled."""
    if not argument.isprintable():
        raise OperatorError(f"{argument!r} cannot stand in a unit file: rename the folder")
    plain = argument.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + plain.replace("%", "%%").replace("$", "$$") + '"'
