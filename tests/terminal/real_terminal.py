"""A command of ours at a terminal of its own (a pty), driven as a person would.

    python tests/terminal/real_terminal.py --starts 50

starts ``callout listen --audio`` on its screen so often, leaves it each time, and counts.
"""

from __future__ import annotations

import argparse
import contextlib
import fcntl
import os
import pty
import select
import signal
import struct
import sys
import tempfile
import termios
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path

COLUMNS, ROWS = 100, 30
PYTHON = [sys.executable, "-P", "-m", "callout"]
LEAVE = b"\x11"  # Ctrl+Q
STANDS, COVER = b"SAVED, newest first", b"Press any key"


class Terminal:
    """``arguments`` of the command, running at a terminal; ``output`` is all it wrote so far."""

    def __init__(
        self,
        arguments: Sequence[str],
        more: Mapping[str, str] | None = None,
        program: Sequence[str] = PYTHON,
    ) -> None:
        self.output = b""
        self.pid, self._fd = pty.fork()
        if self.pid == 0:
            environment = {**os.environ, "TERM": "xterm-256color", **(more or {})}
            os.execve(program[0], [*program, *arguments], environment)
        size = struct.pack("HHHH", ROWS, COLUMNS, 0, 0)
        fcntl.ioctl(self._fd, termios.TIOCSWINSZ, size)

    def press(self, keys: bytes) -> None:
        """Send ``keys`` as a terminal sends them."""
        os.write(self._fd, keys)

    def read(self, seconds: float) -> None:
        """Take what it writes for so long, or until it ends."""
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            ready, _, _ = select.select([self._fd], [], [], left)
            if not ready:
                return
            try:
                piece = os.read(self._fd, 65_536)
            except OSError:
                return  # it ended
            if not piece:
                return
            self.output += piece

    def wait_for(self, found: Callable[[bytes], bool], seconds: float = 120) -> bool:
        """Read until ``found`` says so of the output; whether it did."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if found(self.output):
                return True
            before = len(self.output)
            self.read(0.2)
            if len(self.output) == before and os.waitid(
                os.P_PID, self.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT
            ):
                return found(self.output)
        return False

    def wait_for_text(self, text: str, seconds: float = 120) -> bool:
        """Read until ``text`` was written."""
        return self.wait_for(lambda output: text.encode() in output, seconds)

    def end(self, seconds: float = 120) -> int:
        """Its exit code; killed (and -9) where it does not end by itself."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            self.read(0.1)
            done, status = os.waitpid(self.pid, os.WNOHANG)
            if done:
                self.read(0.1)
                os.close(self._fd)
                return os.waitstatus_to_exitcode(status)
            time.sleep(0.02)
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self._fd)
        return -signal.SIGKILL

    def sound(self) -> bool:
        """Whether the terminal was left as it was found: main screen, cursor, no mouse, echo."""
        undone = {b"\x1b[?1049h": b"\x1b[?1049l", b"\x1b[?25l": b"\x1b[?25h",
                  b"\x1b[?1000h": b"\x1b[?1000l"}  # fmt: skip
        return all(
            self.output.rfind(off) > self.output.rfind(on)
            for on, off in undone.items()
            if on in self.output
        )


def started(survey: Path, audio: Path, state: Path, engine: str) -> str:
    """'' where the screen stood, showed what it should and left cleanly; else what went wrong."""
    screen = Terminal(
        ["listen", str(survey), "--audio", str(audio), "--engine", engine],
        {"XDG_STATE_HOME": str(state)},
    )
    stood = screen.wait_for(lambda output: STANDS in output or COVER in output)
    if stood and STANDS not in screen.output:  # the first of the day shows the cautions
        screen.press(b" ")
        stood = screen.wait_for(lambda output: STANDS in output)
    screen.read(0.5)
    screen.press(LEAVE)
    code = screen.end()
    if stood and code == 0 and screen.sound() and b"Traceback" not in screen.output:
        return ""
    return f"stood {stood}, code {code}, terminal sound {screen.sound()}"


def main() -> int:
    """Count the starts that are well."""
    from callout.practice.demo import make_demo_survey
    from callout.station.data import data_folder

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--starts", type=int, default=50)
    parser.add_argument("--engine", default="pocketsphinx")
    args = parser.parse_args()
    audio = data_folder("audio_fixtures") / "walk.flac"
    wrong = []
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        make_demo_survey(place / "fen", datetime.now().astimezone())
        for _ in range(args.starts):
            if why := started(place / "fen", audio, place / "state", args.engine):
                wrong.append(why)
                print(why, flush=True)
    print(f"{args.starts - len(wrong)} of {args.starts} starts were well")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
