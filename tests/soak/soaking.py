"""The soak: hours of sound through a whole working post, with faults from a seeded list.

``PYTHONPATH=tests/wording python tests/soak/soaking.py --minutes 300 --callouts 1250`` runs it, as
fast as the pipeline takes sound, and prints the table by fault; ``--real-time`` gives sound at the
pace of the clock, speaks the echo into a silent loudspeaker, and leaves every wait as it is. Real:
endpointing, the recogniser in its own process, session, journal, sound store, microphone
supervision. Played: microphone, clock, measurer, and a file layer that fails on order
(``faulty_files.c``). All data is invented.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

import in_english
from measurer import MOST_TRIES, QUESTIONS, Changed, Gap, Item, Measurer, Unplug
from pace import Pace
from trouble import AFTER, BEFORE, CONFIRMING, DECODING, KINDS, REFUSED, WITHIN, Fault, nothing

from callout.core.errors import DeviceError
from callout.core.model import PlotSettings, Tree
from callout.core.saying import Saying
from callout.journal.folder import SurveyFolder, make_survey
from callout.proof.verify import take_snapshot, verify_journal
from callout.sound.frames import FRAME_S, FRAME_SAMPLES, Frame, frames_of
from callout.sound.pulse import SourceChangedError
from callout.sound.sound_devices import NULL_DEVICE
from callout.sound.sound_files import encode_flac
from callout.station import post as post_module
from callout.station.build import make_station
from callout.station.hearing import apart, apart_process, ears
from callout.station.hearing.apart import ApartEngine
from callout.station.hearing.apart_process import EngineOrder, EngineProcess
from callout.station.post import Post, Told, Work
from callout.station.upkeep.clock import Clock
from callout.survey.new_settings import new_settings

TAGS = [str(number) for number in range(13, 100)]
LONGEST_ECHO_S = 20.0


@dataclass
class Row:
    """One kind of fault: how often it was put in, and what became of the callout it struck."""

    injected: int = 0
    survived: int = 0


@dataclass
class Result:
    """What came of it."""

    sound_s: float = 0.0
    took_s: float = 0.0
    callouts: int = 0
    by_fault: dict[str, Row] = field(default_factory=dict)
    lost: list[tuple[str, str]] = field(default_factory=list)
    invented: list[tuple[str, str]] = field(default_factory=list)
    unasked: list[str] = field(default_factory=list)
    saved: int = 0
    typed: int = 0
    given_up: int = 0
    restarts: int = 0
    memory: list[tuple[float, float, int, int]] = field(default_factory=list)
    """Hours of sound; megabytes of this process and its recogniser; threads; open files."""
    behind_s: float = 0.0
    """In real time: the longest that sound waited to be read, and how much was lost, in seconds."""
    lost_s: float = 0.0
    verified: str = ""
    well: bool = False


class Soak:
    """One survey, one day, one seed."""

    def __init__(self, path: Path, given: argparse.Namespace) -> None:
        self._every, self._limit_s = given.every, given.limit * 60
        callouts, seed = given.callouts, given.seed
        self.folder = survey_at(path)
        self.pace = Pace(given.real_time)
        self._echo_sounds = False
        self._sample_every_s = 120.0 if given.real_time else 600.0
        self.measurer = Measurer(seed)
        self.wall_offset_s = self.slept_s = 0.0
        self.result = Result(callouts=callouts)
        self._pause_s = max(0.0, given.minutes * 60 / callouts - 8.0)
        self._absent, self._name = 0, "headset"
        self._items = self._day(callouts)
        self._faults_told: list[str] = []
        self._leaving = threading.Event()
        self._swap, self._held = False, None
        self._sampled_s = -self._sample_every_s
        self._begin()

    # ---- the post ----

    def _begin(self) -> None:
        clock = Clock(
            lambda: time.time() + self.wall_offset_s,
            lambda: time.monotonic() + self.slept_s,
            time.monotonic,
        )
        self.station = make_station(self.folder, encode_flac, "closed", clock=clock)
        self.station.watch(self.measurer.hear)
        work = Work("K2", "R.V.", silent=not self.pace.real_time)
        self.post = Post(self.folder, self.station, clock, work)
        self.post.begin(Told(fault=self._fault, sounding=self._sounding))
        self._endpointer = self.post._endpointer

    def restart(self) -> None:
        """Stop and start everything but the stream of sound, as after a crash."""
        self._count_restarts()
        self.post.close()
        self.station.close()
        self._begin()
        # The one who listens is in the middle of a frame of the old post: go on with the new.
        self._swap = True

    def _count_restarts(self) -> None:
        engine = self.station.engine
        assert isinstance(engine, ApartEngine)
        self.result.restarts += engine.restarts

    @property
    def recogniser(self) -> int | None:
        """The process that hears."""
        engine = self.station.engine
        return engine.pid if isinstance(engine, ApartEngine) else None

    def _sounding(self, sounds: bool) -> None:
        self._echo_sounds = sounds

    def _hear_out(self) -> Iterator[Item]:
        """The measurer waits until the echo has been spoken, where it is."""
        pieces = 0
        for _ in range(round(LONGEST_ECHO_S / 0.3) if self.pace.real_time else 0):
            yield self.measurer.quiet(0.3)
            pieces = 0 if self._echo_sounds else pieces + 1
            if pieces == 3:
                return

    def _fault(self, name: str, says: Saying | None) -> None:
        if says is not None:
            self._faults_told.append(in_english.part(says))

    def told(self, words: str) -> bool:
        """Whether a fault of such words was told since the callout began."""
        return any(words in says for says in self._faults_told)

    # ---- what faults may do ----

    def break_disk(self, how: str, at: int) -> None:
        """From the ``at``-th changing call on, the file layer fails."""
        self._arm(how, at)

    def _arm(self, how: str, at: int) -> None:
        count = Path(os.environ["FAULTY_COUNT"])
        calls = int(count.read_text() or 0) if count.exists() else 0
        os.environ["FAULTY_HOW"], os.environ["FAULTY_AT"] = how, str(calls + at)

    def heal_disk(self) -> None:
        """The file layer is well again."""
        os.environ["FAULTY_AT"] = "0"

    def take_folder_away(self) -> None:
        """As a card that is pulled out."""
        self.folder.path.rename(self.folder.path.with_name("away"))

    def bring_folder_back(self) -> None:
        """And put in again."""
        away = self.folder.path.with_name("away")
        if away.exists():
            away.rename(self.folder.path)

    def gate_echo(self, seconds: float) -> None:
        """Our own voice sounds now."""
        now_s = self._endpointer._now_s or 0.0
        self._endpointer.mute(now_s + seconds, now_s)

    def hangs_soon(self) -> None:
        """Where it need not keep to the clock, the next hang is found within a second."""
        if self.pace.real_time:
            return
        start, allowed_s = EngineProcess.start, apart_process.HANG_S

        def started(process: EngineProcess, order: EngineOrder) -> dict[str, Any]:
            apart_process.HANG_S, EngineProcess.start = allowed_s, start  # type: ignore[method-assign]
            return start(process, order)

        apart_process.HANG_S, EngineProcess.start = 1.0, started  # type: ignore[method-assign]

    # ---- the day ----

    def _day(self, callouts: int) -> Iterator[Item]:
        names = list(KINDS)
        chance = self.measurer.chance
        yield self.measurer.quiet(3)
        until = time.monotonic() + self._limit_s
        for number in range(callouts):
            if time.monotonic() > until:
                self.result.callouts = number
                break
            # Each kind in turn, in an order of its own each round; the callouts between are calm.
            turn, calm = divmod(number, self._every)
            if turn % len(names) == 0 and not calm:
                chance.shuffle(names)
            name = "none" if calm else names[turn % len(names)]
            tag = chance.choice(TAGS)
            value = f"{chance.randint(8, 79)}.{chance.randint(0, 9)}"
            row = self.result.by_fault.setdefault(name, Row())
            row.injected += 1
            before = len(self.measurer.ledger.saved)
            yield from self._callout(tag, value, KINDS.get(name, nothing))
            row.survived += len(self.measurer.ledger.saved) == before + 1
            for _ in range(round(self._pause_s)):
                yield self.measurer.quiet(1.0)
            self._sample()

    def _callout(self, tag: str, value: str, fault: Fault) -> Iterator[Item]:
        measurer = self.measurer
        self._faults_told.clear()
        before = len(measurer.ledger.saved)
        yield from fault(self, BEFORE)
        yield from self._hear_out()
        for attempt in range(MOST_TRIES + 2):
            once = fault if attempt == 0 else nothing
            if not measurer.asked(tag, value):
                yield from self._say(tag, value, once, by_hand=attempt >= MOST_TRIES)
                yield from self._hear_out()
                yield from fault(self, REFUSED)
                if not measurer.asked(tag, value):
                    if any(
                        map(measurer.heard, QUESTIONS)
                    ):  # misheard: what was echoed is not what was said
                        yield measurer.speech("no")
                    measurer.forget()
                    continue
            yield from once(self, CONFIRMING)
            yield from self._hear_out()
            aloud = attempt < 2
            yield from measurer.confirm(self.station, tag, value, aloud)
            yield from self._hear_out()
            yield from fault(self, REFUSED)
            if len(measurer.ledger.saved) > before:
                break
            if measurer.heard("Not saved") or not measurer.heard(""):
                yield from measurer.confirm(self.station, tag, value, aloud)
            if len(measurer.ledger.saved) > before:
                break
        else:
            self.result.given_up += 1
            measurer.confirming = None
            self.station.press("scratch")
        yield from fault(self, AFTER)
        measurer.forget()

    def _say(self, tag: str, value: str, fault: Fault, by_hand: bool) -> Iterator[Item]:
        measurer = self.measurer
        measurer.forget()
        if by_hand:
            measurer.type(self.station, tag, value)
            return
        measurer.spoken += 1
        sound = measurer.speech(measurer.phrase(tag, value))
        middle = sound.size // 2 // FRAME_SAMPLES * FRAME_SAMPLES
        late = sound.size - 20 * FRAME_SAMPLES  # the hang-over has not run out yet
        yield sound[:middle]
        yield from fault(self, WITHIN)
        yield sound[middle:late]
        yield from fault(self, DECODING)
        yield sound[late:]

    # ---- the microphone ----

    def open(self) -> PlayedMicrophone:
        """Whatever microphone there is now."""
        if self._absent > 0:
            self._absent -= 1
            raise DeviceError("There is no microphone. Connect one and start again.")
        return PlayedMicrophone(self, self._name)

    def frames(self, microphone: PlayedMicrophone) -> Iterator[Frame]:
        """The day's next frames, until this microphone fails."""
        at_s = 0.0
        self.pace.begin()
        while (item := self._next_item(at_s)) is not None:
            if self._swap:
                self._swap, self._held = False, item
                return  # this post is closed; the next one opens a microphone of its own
            if isinstance(item, Unplug):
                self._absent, self._name = item.tries, item.name
                raise DeviceError(f"The microphone {microphone.name!r} has sent nothing for 3 s.")
            if isinstance(item, Changed):
                self._absent = item.tries
                raise SourceChangedError(f"The microphone {microphone.name!r} was changed.")
            if isinstance(item, Gap):
                at_s += item.seconds
                continue
            for frame in frames_of(item):
                self.pace.wait(at_s + FRAME_S)
                microphone.now_s = microphone.captured_s = at_s + FRAME_S
                yield Frame(frame.samples, at_s)
                at_s += FRAME_S
                self.result.sound_s += FRAME_S
        self._leaving.set()

    def _next_item(self, at_s: float) -> Item | None:
        held, self._held = self._held, None
        if held is not None:
            return held
        queued_s, lost_s = self.pace.missed(at_s)
        if lost_s:
            return Gap(lost_s)
        return self.measurer.quiet(queued_s) if queued_s else next(self._items, None)

    # ---- running ----

    def run(self) -> Result:
        """The whole day; then the journal is held against the ledger."""
        started = time.monotonic()
        while not self._leaving.is_set():
            self._listen(self.post)
        self.result.took_s = time.monotonic() - started
        self._sample(last=True)
        self._count_restarts()
        self.post.close()
        self.station.close()
        self._compare()
        self.result.behind_s, self.result.lost_s = self.pace.worst_behind_s, self.pace.lost_s
        return self.result

    def _listen(self, post: Post) -> None:
        """Hear until the day ends or this post was closed."""

        class Left(threading.Event):
            def is_set(inner) -> bool:  # noqa: N805
                return self._leaving.is_set() or self.post is not post

            def wait(inner, timeout: float | None = None) -> bool:  # noqa: N805
                self.pace.rest(timeout)
                return inner.is_set()

        post.listen(Left())

    def _sample(self, last: bool = False) -> None:
        if not last and self.result.sound_s - self._sampled_s < self._sample_every_s:
            return
        self._sampled_s = self.result.sound_s
        own, pid = Path("/proc/self"), self.recogniser
        megabytes = resident_mb(own) + (resident_mb(Path(f"/proc/{pid}")) if pid else 0.0)
        threads = len(list((own / "task").iterdir()))
        files = len(list((own / "fd").iterdir()))
        hours = self.result.sound_s / 3600
        self.result.memory.append((hours, megabytes, threads, files))
        print(
            f"  {hours:.2f} h of sound, {len(self.measurer.ledger.saved)} saved, "
            f"{megabytes:.0f} MB, {threads} threads, {files} files", file=sys.stderr, flush=True,
        )  # fmt: skip

    def _compare(self) -> None:
        ledger, result = self.measurer.ledger, self.result
        with self.folder.reading() as reader:
            rows = reader.readings()
        found = [(row.tag, str(row.value)) for row in rows if not row.void]
        result.lost = list((Counter(ledger.saved) - Counter(found)).elements())
        result.invented = list((Counter(found) - Counter(ledger.saved)).elements())
        assert result.lost or result.invented or found == ledger.saved, "another order"
        assert sum(row.void for row in rows) == ledger.undone
        result.unasked = ledger.unasked
        result.saved, result.typed = len(found), self.measurer.typed
        faults = verify_journal(self.folder, take_snapshot(self.folder.database)).faults
        result.well = not faults
        result.verified = "; ".join(map(str, faults)) or "the whole chain and every sound hold"


class PlayedMicrophone:
    """A microphone that sends the day's sound."""

    def __init__(self, soak: Soak, name: str) -> None:
        self.name, self._soak = name, soak
        self.now_s = self.captured_s = 0.0

    def frames(self) -> Iterator[Frame]:
        return self._soak.frames(self)

    def close(self) -> None:
        """Nothing to give back."""


def resident_mb(process: Path) -> float:
    """Resident memory of a process, in megabytes."""
    for line in (process / "status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0


def soak(given: argparse.Namespace, where: Path) -> Result:
    """Run one; where it need not keep to the clock, with hangs and waits made short."""
    if not given.real_time:
        # One that is stopped is found soon (``recogniser_hangs``); a busy machine hangs nothing.
        apart_process.HANG_S, apart_process.HANG_FOR_EACH_S, apart._PAUSE_S = 60.0, 0.0, 0.0
        ears.RETRY_S = ears._SOON_S = 0.0
    made: list[Soak] = []
    post_module._opener = lambda name: lambda: made[0].open()  # type: ignore[assignment]
    made.append(Soak(where / "harrow-fen", given))
    return made[0].run()


def survey_at(path: Path) -> SurveyFolder:
    """One plot of beeches; the echo, where it is spoken, goes to a silent loudspeaker."""
    settings = PlotSettings(plot="", largest=Decimal(90))
    trees = tuple(Tree("K2", tag, "beech") for tag in TAGS)
    text = new_settings(path.name, settings, {})
    changed = text.replace('speaker = ""', f'speaker = "{NULL_DEVICE}"')
    assert changed != text
    files = {"survey.toml": changed.encode()}
    return make_survey(path, trees, settings, {}, "2026-06-02T09:00+02:00", files)


def growth(result: Result) -> float:
    """Megabytes an hour of sound, by least squares over the samples after the first quarter."""
    import numpy as np

    later = result.memory[len(result.memory) // 4 :]
    if len(later) < 3:
        return 0.0
    hours, megabytes = [item[0] for item in later], [item[1] for item in later]
    return float(np.polyfit(hours, megabytes, 1)[0])


def report(result: Result) -> str:
    """The table."""
    lines = [f"{'fault':32} injected  survived"]
    lines += [
        f"{name:32} {row.injected:8}  {row.survived:8}"
        for name, row in sorted(result.by_fault.items())
    ]
    first, last = result.memory[0], result.memory[-1]
    lines += [
        f"readings lost: {len(result.lost)} {result.lost or ''}",
        f"readings invented: {len(result.invented)} {result.invented or ''}",
        f"told as saved unasked: {len(result.unasked)} {result.unasked or ''}",
        f"callouts {result.callouts}, saved {result.saved}, of them typed {result.typed}, "
        f"given up {result.given_up}; recogniser started anew {result.restarts} times",
        f"sound {result.sound_s / 3600:.2f} h in {result.took_s / 60:.1f} min "
        f"({result.sound_s / result.took_s:.1f} times real time)",
        f"sound waited {result.behind_s:.1f} s at most; {result.lost_s:.1f} s of it lost",
        f"memory with the recogniser: first {first[1]:.0f} MB, last {last[1]:.0f} MB, "
        f"growth {growth(result):.1f} MB an hour of sound",
        f"threads {first[2]} -> {last[2]}, open files {first[3]} -> {last[3]}",
        f"verify: {result.verified}",
    ]
    return "\n".join(lines)


def with_faulty_files(where: Path) -> dict[str, str]:
    """The environment in which the file layer can fail; empty where it cannot be made."""
    compiler = shutil.which("cc")
    if compiler is None or not sys.platform.startswith("linux"):
        return {}
    source = Path(__file__).parents[1] / "station" / "faulty" / "faulty_files.c"
    made = where / "faulty.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", made, source, "-ldl"], check=True)
    return {
        "LD_PRELOAD": str(made),
        "FAULTY_UNDER": str(where / "harrow-fen"),
        "FAULTY_COUNT": str(where / "calls"),
        "FAULTY_AT": "0",
    }


def main() -> int:
    """Run it in a process whose file layer can fail; print the table; 1 for any loss."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=480, help="minutes of sound, about")
    parser.add_argument("--callouts", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=83)
    parser.add_argument("--every", type=int, default=2, help="every so manyth callout has a fault")
    parser.add_argument("--limit", type=float, default=1e6, help="minutes it may take at most")
    parser.add_argument("--real-time", action="store_true", help="sound at the pace of the clock")
    parser.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.inside is None:
        with tempfile.TemporaryDirectory(prefix="callout-soak-") as name:
            env = with_faulty_files(Path(name))
            if not env:
                print("needs Linux and a C compiler: the disk cannot be made to fail")
                return 2
            command = [sys.executable, *sys.argv, "--inside", name]
            return subprocess.run(command, env={**os.environ, **env}, check=False).returncode
    result = soak(args, args.inside)
    print(report(result))
    return int(bool(result.lost or result.invented or result.unasked or not result.well))


if __name__ == "__main__":
    sys.exit(main())
