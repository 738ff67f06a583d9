"""A tape on a pseudo-terminal, as a process of its own: ``simulated_tape.py LINK COUNT GAP_S``.

Sends COUNT different readings, ``0.1 cm`` apart, and is pulled out three times in the middle of
a line. LINK is the port's path. It waits until its bytes were fetched before it is pulled out,
since a real cable loses what is in it. Whenever its port was opened it prints ``opened`` and waits
for a line before it presses: ``pressed`` runs it and sends that line once the device is connected.
Prints one JSON object at the end.
"""

from __future__ import annotations

import fcntl
import json
import os
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

SETTLES_S = 0.1
"""What begins sooner after connecting is not taken (``Limits.settle_s``): it may lack its start."""
LONG_S = 180.0


class Plugged:
    """The port while it is there; made once the device at its other end is ``connected``."""

    def __init__(self, link: Path, connected: Callable[[], object]) -> None:
        self.link = link
        self.master, self.slave = os.openpty()
        link.symlink_to(os.ttyname(self.slave))
        self._wait_until(self._opened)
        self._wait_until(connected)
        time.sleep(SETTLES_S)

    def send(self, data: bytes) -> None:
        while data:
            data = data[os.write(self.master, data) :]

    def pull_out(self) -> None:
        self._wait_until(self._fetched)
        self.link.unlink()
        os.close(self.master)
        os.close(self.slave)

    def _opened(self) -> bool:
        # pyserial switches line editing off when it opens a port.
        return not termios.tcgetattr(self.slave)[3] & termios.ICANON

    def _fetched(self) -> bool:
        """Five times in a row, since what was written takes a moment to the other end."""
        return all(self._empty() for _ in range(5))

    def _empty(self) -> bool:
        time.sleep(0.02)
        waiting = fcntl.ioctl(self.slave, termios.FIONREAD, b"\0" * 4)
        return struct.unpack("i", waiting)[0] == 0

    def _wait_until(self, ready: Callable[[], object]) -> None:
        until = time.monotonic() + LONG_S
        while not ready():
            if time.monotonic() > until:
                sys.exit("nobody opened the port")
            time.sleep(0.01)


def pressed(link: Path, count: int, gap_s: float, connections: Callable[[], int]) -> None:
    """Press so often on a tape in a process of its own; ``connections`` counts those so far."""
    before = connections()
    command = [sys.executable, str(Path(__file__)), str(link), str(count), str(gap_s)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as tape:
        assert tape.stdin is not None
        assert tape.stdout is not None
        lines = []
        for line in tape.stdout:
            lines.append(line.strip())
            if line != "opened\n":
                continue
            until = time.monotonic() + LONG_S
            while connections() < before + len(lines):
                assert time.monotonic() < until, "the device was not connected"
                time.sleep(0.005)
            tape.stdin.write("go\n")
            tape.stdin.flush()
    assert lines[:-1] == ["opened"] * 4
    assert json.loads(lines[-1]) == {"sent": count, "pulled_out": 3}


def main() -> None:
    def told_to_go() -> str:
        print("opened", flush=True)
        return sys.stdin.readline()

    link, count, gap_s = Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
    pulls = {count // 4, count // 2, count * 3 // 4}
    port = Plugged(link, told_to_go)
    for number in range(1, count + 1):
        line = b"%d.%d cm\r\n" % divmod(number + 50, 10)
        if number in pulls:
            port.send(line[: len(line) // 2])
            port.pull_out()
            time.sleep(0.1)
            port = Plugged(link, told_to_go)
        port.send(line)
        time.sleep(gap_s)
    port.pull_out()
    print(json.dumps({"sent": count, "pulled_out": len(pulls)}))


if __name__ == "__main__":
    main()
