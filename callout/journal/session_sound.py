"""The sound of whole sessions: spooled as it arrives, then stored in FLAC segments.

A segment under way is a spool file beside the sounds, forced to the disk every second, so that a
crash costs a second at most. A finished one is a sound like any other, named by its hash, and a
journal entry says when it began. The encoder is passed in; nothing is recognised here.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from callout.core.errors import StorageError
from callout.core.saying import Saying, saying
from callout.journal.audio import AudioStore
from callout.journal.codec import stamp
from callout.survey.config import Keeping
from callout.survey.files import force_to_disk, storage_errors, sync_folder
from callout.survey.guard import MOST_SOUND_BYTES, is_plain, read_plain

KIND = "session_sound"
SPOOL = ".spool-"
RATE_HZ = 16_000
_FRAME_BYTES = 960
_RECORD_BYTES = 1 + _FRAME_BYTES
_FRAME_S = _FRAME_BYTES / 2 / RATE_HZ
_CLOCK_SLACK_S = 1.0
_SYNC_FRAMES = round(1.0 / _FRAME_S)

Encode = Callable[[bytes, int], tuple[bytes, int]]
"""Takes 16-bit little-endian samples and the most bytes wanted; returns FLAC and bits left out."""
Record = Callable[[datetime, dict[str, Any]], None]
"""Journals a segment: its end and its body. Raises StorageError."""


@dataclass(frozen=True)
class Segment:
    """Sound without a gap: when it began, who worked, and where our own echo can be heard."""

    began: datetime
    who: str
    plot: str
    pcm: bytes
    echo: tuple[tuple[float, float], ...]

    @property
    def lasts_s(self) -> float:
        """How long it lasts."""
        return len(self.pcm) / 2 / RATE_HZ

    @property
    def ended(self) -> datetime:
        """When it ended."""
        return self.began + timedelta(seconds=self.lasts_s)

    def body(self, digest: str, left_out_bits: int, recovered: bool) -> dict[str, Any]:
        """Its journal entry's body; times in seconds from its beginning, as text."""
        return {
            "audio": digest,
            "began": stamp(self.began),
            "seconds": f"{self.lasts_s:.3f}",
            "who": self.who,
            "plot": self.plot,
            "echo": [[f"{start:.2f}", f"{end:.2f}"] for start, end in self.echo],
            "left_out_bits": left_out_bits,
            "recovered": recovered,
        }


class SessionSound:
    """Stores one stream of frames. Use from one thread; `take` waits for the disk once a second."""

    def __init__(
        self,
        folder: Path,
        settings: Keeping,
        encode: Encode,
        record: Record,
        working: Callable[[], tuple[str, str]],
        tell: Callable[[Saying], None],
    ) -> None:
        """Keep the sounds in ``folder``.

        ``working`` returns who works in which plot; ``tell`` is called when sound is not kept.
        """
        self._sounds, self._folder = AudioStore(folder), folder
        self._settings = settings
        self._encode, self._record = encode, record
        self._working, self._tell = working, tell
        self._spool: _Spool | None = None
        self._next_s = 0.0
        self._next_at: datetime | None = None
        self._again_s = 0.0
        self._told = ""

    def take(self, pcm: bytes, start_s: float, at: datetime, echo: bool) -> None:
        """Take one frame of 960 bytes.

        It began at ``start_s`` in its stream and ``at`` by the clock; ``echo``: an echo may sound.
        """
        if self._spool is not None and self._jumps(start_s, at):
            self.cut()
        self._next_s, self._next_at = start_s + _FRAME_S, at + timedelta(seconds=_FRAME_S)
        if start_s < self._again_s:
            return
        try:
            if self._spool is None:
                self._spool = _Spool(self._folder, self._header(at))
            self._spool.add(pcm, echo)
        except StorageError as error:
            self._refused(error)
            return
        if self._spool.lasts_s >= self._settings.segment_s:
            self.cut()

    def cut(self) -> None:
        """End the segment under way: write the sound, then its entry, then delete the spool."""
        spool, self._spool = self._spool, None
        if spool is None:
            return
        try:
            spool.close()
            keep_spool(spool.path, self._sounds, self._settings, self._encode, self._record, False)
            self._told = ""
        except StorageError as error:
            self._refused(error)

    def _jumps(self, start_s: float, at: datetime) -> bool:
        """Whether sound was lost, the microphone was closed meanwhile, or the clock was set."""
        off_s = abs((at - (self._next_at or at)).total_seconds())
        return abs(start_s - self._next_s) > _FRAME_S / 2 or off_s > _CLOCK_SLACK_S

    def _header(self, at: datetime) -> dict[str, str]:
        who, plot = self._working()
        return {"began": stamp(at), "who": who, "plot": plot}

    def _refused(self, error: StorageError) -> None:
        """Try again after the length of a segment; the spool stays for the next start."""
        if self._spool is not None:
            self._spool.abandon()
            self._spool = None
        self._again_s = self._next_s + self._settings.segment_s
        if str(error) != self._told:
            self._told = str(error)
            self._tell(saying("session-sound-not-kept", why=error.saying))


class _Spool:
    """A segment under way: a line that says when it began, then frames, one byte before each."""

    def __init__(self, folder: Path, header: dict[str, str]) -> None:
        with storage_errors(f"cannot write in {folder}"):
            self._file, name = tempfile.mkstemp(dir=folder, prefix=SPOOL)
            self.path = Path(name)
        self._frames = 0
        try:
            self._write(json.dumps(header).encode() + b"\n")
            sync_folder(folder)
        except BaseException:
            self.abandon()
            raise

    @property
    def lasts_s(self) -> float:
        return self._frames * _FRAME_S

    def add(self, pcm: bytes, echo: bool) -> None:
        self._write(bytes([echo]) + pcm)
        self._frames += 1
        if self._frames % _SYNC_FRAMES == 0:
            self._sync()

    def _write(self, data: bytes) -> None:
        with storage_errors(f"cannot write in {self.path.parent}"):
            done = os.write(self._file, data)
            if done != len(data):
                raise OSError(28, "no space left")

    def _sync(self) -> None:
        with storage_errors(f"cannot write in {self.path.parent}"):
            force_to_disk(self._file)

    def close(self) -> None:
        try:
            self._sync()
        finally:
            os.close(self._file)

    def abandon(self) -> None:
        """Close the spool without storing it; an empty one is deleted."""
        os.close(self._file)
        if self._frames == 0:
            self.path.unlink(missing_ok=True)


# ---- from the spool to the journal, now or after a crash ----


def keep_spool(
    path: Path,
    sounds: AudioStore,
    settings: Keeping,
    encode: Encode,
    record: Record,
    recovered: bool,
) -> bool:
    """Store and journal what a spool holds; returns whether it held any sound.

    Raises StorageError; the spool then stays where it is.
    """
    segment = read_spool(path)
    if segment is not None:
        most = int(settings.mb_an_hour * 1e6 / 3600 * segment.lasts_s)
        flac, bits = encode(segment.pcm, most)
        record(segment.ended, segment.body(sounds.keep(flac), bits, recovered))
    with storage_errors(f"cannot remove {path}"):
        path.unlink()
    return segment is not None


def spools(folder: Path) -> Iterator[Path]:
    """Spools left beside the sounds by crashes, in no particular order: each knows its time."""
    yield from sorted(path for path in folder.glob(f"{SPOOL}*") if is_plain(path))


def read_spool(path: Path) -> Segment | None:
    """The sound of a spool, up to its last whole frame; None if it holds none."""
    with storage_errors(f"cannot read {path}"):
        first, _, rest = read_plain(path, MOST_SOUND_BYTES).partition(b"\n")
    try:
        header = json.loads(first)
        began, who, plot = datetime.fromisoformat(header["began"]), header["who"], header["plot"]
    except (KeyError, TypeError, ValueError):
        return None  # crashed before its first line was whole, so no frame was written
    frames = [
        rest[at : at + _RECORD_BYTES]
        for at in range(0, len(rest) - _RECORD_BYTES + 1, _RECORD_BYTES)
    ]
    if not frames:
        return None
    pcm = b"".join(frame[1:] for frame in frames)
    return Segment(began, who, plot, pcm, tuple(_spans([frame[0] != 0 for frame in frames])))


def _spans(marked: list[bool]) -> Iterator[tuple[float, float]]:
    """Runs of marked frames, in seconds."""
    start: int | None = None
    for at, mark in enumerate([*marked, False]):
        if mark and start is None:
            start = at
        elif not mark and start is not None:
            yield start * _FRAME_S, at * _FRAME_S
            start = None
