"""A tape on a pseudo-terminal, as a process of its own: ``simulated_tape.py LINK COUNT GAP_S``.

Sends COUNT different readings, ``0.1 cm`` apart, and is pulled out three times in the middle of
a line. LINK is the port's path. It waits until its bytes were fetched before it is pulled out,
since a real cable loses what is in it. Prints one JSON object at the end.
"""

from __future__ import annotations

import fcntl
import json
import os
import struct
import sys
import termios
import time
from pathlib import Path


class Plugged:
    """The port while it is there."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.master, self.slave = os.openpty()
        link.symlink_to(os.ttyname(self.slave))
        self._wait_until(self._opened)
        # A person needs longer than this to press after plugging in.
        time.sleep(0.2)

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
        time.sleep(0.02)
        waiting = fcntl.ioctl(self.slave, termios.FIONREAD, b"\0" * 4)
        return struct.unpack("i", waiting)[0] == 0

    def _wait_until(self, ready: object) -> None:
        deadline = time.monotonic() + 20
        while not ready():  # type: ignore[operator]
            if time.monotonic() > deadline:
                sys.exit("nobody opened the port")
            time.sleep(0.01)


def main() -> None:
    link, count, gap_s = Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
    pulls = {count // 4, count // 2, count * 3 // 4}
    port = Plugged(link)
    for number in range(1, count + 1):
        line = b"%d.%d cm\r\n" % divmod(number + 50, 10)
        if number in pulls:
            port.send(line[: len(line) // 2])
            port.pull_out()
            time.sleep(0.1)
            port = Plugged(link)
        port.send(line)
        time.sleep(gap_s)
    port.pull_out()
    print(json.dumps({"sent": count, "pulled_out": len(pulls)}))


if __name__ == "__main__":
    main()
