"""As on a small board: how soon the echo comes, what idling costs, how much memory it takes.

    python benchmarks/board.py [--engine closed] [--share 0.25] [--memory 512] [--minutes 2]

Each of the two processes (post and recogniser) is held to a share of a core, both together to so
much memory. A quarter of a core here stands for one core of a small board: an assumption, as such
a board's core does about a quarter of this machine's work in a second (from memory, not measured),
and a quota is not a slow core in every respect. Synthetic callouts, in real time, with the echo
spoken into a silent loudspeaker; a yes is said when it has ended. Linux only.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from quota import Board, held_mb

from callout.wording.language_files import english

VALUES = ("24.6", "31.2", "18.9", "45.5", "9.7", "27.3", "52.8", "12.4", "33.1", "20.6")
TAGS = ("83", "41", "57", "62", "29", "76", "94", "35", "68", "22")
ONES = "oh one two three four five six seven eight nine".split()  # noqa: SIM905
TENS = dict(enumerate(["ten", "twenty", "thirty", "forty", "fifty", "sixty"], 1))
TENS |= {7: "seventy", 8: "eighty", 9: "ninety"}
QUIET_DBFS = -62.0
LONGEST_ECHO_S, UNHEARD_S = 40.0, 8.0


def spelt(number: int) -> str:
    """A whole number under a hundred in words; of the teens only those in use here."""
    if number < 10 or number in (12, 18):
        return {12: "twelve", 18: "eighteen"}.get(number) or ONES[number]
    tens, ones = divmod(number, 10)
    return TENS[tens] + (f" {ONES[ones]}" if ones else "")


def phrase(tag: str, value: str) -> str:
    """The callout in words."""
    whole, tenth = value.split(".")
    return f"tree {spelt(int(tag))}, diameter {spelt(int(whole))} point {ONES[int(tenth)]}"


# ---- inside the limits ----


class Stage:
    """Feeds sound at the pace of the clock, and notes when what was said and sounded."""

    def __init__(self, folder: Path, engine: str, minutes: float) -> None:
        from callout.core.model import PlotSettings, Tree
        from callout.journal.folder import make_survey
        from callout.sound.sound_files import encode_flac
        from callout.station.build import make_station
        from callout.station.hearing.apart import ApartEngine
        from callout.station.post import Post, Told, Work
        from callout.station.upkeep.clock import Clock
        from callout.survey.new_settings import new_settings

        self._minutes = minutes
        self._sounds = np.load(folder / "said.npz")
        settings = PlotSettings(plot="")
        trees = tuple(Tree("K2", tag, "beech") for tag in TAGS)
        text = new_settings("fen", settings, {}).replace('speaker = ""', 'speaker = "null"')
        survey = make_survey(
            folder / "fen",
            trees,
            settings,
            {},
            "2026-06-02T09:00+02:00",
            {"survey.toml": text.encode()},
        )
        clock = Clock()
        self.station = make_station(survey, encode_flac, engine, clock=clock)
        assert isinstance(self.station.engine, ApartEngine)
        self.pids = ("self", str(self.station.engine.pid))
        self.said: list[tuple[float, str]] = []
        self.sounded: list[float] = []
        self._sounding = False
        self._at_s, self.began = 0.0, time.monotonic()
        self.station.watch(self._watch)
        self.post = Post(survey, self.station, clock, Work("K2", "R.V.", frames=self._frames()))
        self.post.begin(Told(sounding=self._sounds_now))
        self.post.echo.heard_by(self)
        self.idle_cpu_s = self.busy_cpu_s = self.busy_s = 0.0
        self.shown_s: list[float] = []
        self.aloud_s: list[float] = []
        self.right = self.behind_s = 0.0

    @property
    def now_s(self) -> float:
        return time.monotonic() - self.began

    @property
    def captured_s(self) -> float:
        return self._at_s

    def run(self) -> None:
        import threading

        self.began = time.monotonic()
        self.post.listen(threading.Event())
        self.post.close()
        self.station.close()

    def _watch(self, done: Any) -> None:
        for effect in done.effects:
            if hasattr(effect, "tone"):
                self.said.append((time.monotonic(), english().shown(*effect.says)))

    def _sounds_now(self, sounds: bool) -> None:
        self._sounding = sounds
        if sounds:
            self.sounded.append(time.monotonic())

    def _cpu_s(self) -> float:
        from idle_cost import cpu_s

        return sum(map(cpu_s, self.pids))

    def _give(self, samples: Any) -> Any:
        from callout.sound.frames import FRAME_S, Frame, frames_of

        for frame in frames_of(samples):
            early_s = self.began + self._at_s + FRAME_S - time.monotonic()
            self.behind_s = max(self.behind_s, -early_s)
            time.sleep(max(0.0, early_s))
            yield Frame(frame.samples, self._at_s)
            self._at_s += FRAME_S

    def _quiet(self, seconds: float) -> Any:
        size = round(seconds / 0.03) * 480
        floats = np.random.default_rng(83).standard_normal(size) * 32768 * 10 ** (QUIET_DBFS / 20)
        yield from self._give(np.rint(floats).astype(np.int16))

    def _frames(self) -> Any:
        yield from self._quiet(15.0)  # the plot is told aloud
        before_s = self._cpu_s()
        for _ in range(round(self._minutes * 60 / 5)):
            yield from self._quiet(5.0)
        self.idle_cpu_s = self._cpu_s() - before_s
        before_s, began_s = self._cpu_s(), self._at_s
        for number, (tag, value) in enumerate(zip(TAGS, VALUES, strict=True)):
            yield from self._callout(number, tag, value)
        self.busy_cpu_s, self.busy_s = self._cpu_s() - before_s, self._at_s - began_s

    def _callout(self, number: int, tag: str, value: str) -> Any:
        for name, wanted in ((f"callout{number}", f"{tag}, {value}"), ("yes", "Saved")):
            samples, ends = self._sounds[name], int(self._sounds[f"{name}_ends"])
            self.said.clear()
            self.sounded.clear()
            ended = self.began + self._at_s + ends / 16_000
            yield from self._give(samples)
            yield from self._echo()
            if self.said and self.sounded:  # whatever was answered: a question takes as long
                self.shown_s.append(self.said[0][0] - ended)
                self.aloud_s.append(self.sounded[0] - ended)
            if not self.said or wanted not in self.said[0][1]:
                self.station.press("scratch")
                yield from self._echo()
                return
            self.right += 1

    def _echo(self) -> Any:
        """The measurer waits until it has been spoken."""
        pieces = 0
        for number in range(round(LONGEST_ECHO_S / 0.3)):
            yield from self._quiet(0.3)
            pieces = pieces + 1 if self.sounded and not self._sounding else 0
            if pieces == 4 or (not self.sounded and number * 0.3 > UNHEARD_S):
                return


def inside(folder: Path, engine: str, minutes: float) -> dict[str, Any]:
    """All of it, held to the limits from the first import on."""
    sys.stdin.readline()
    began = time.monotonic()
    stage = Stage(folder, engine, minutes)
    ready_s = time.monotonic() - began
    print("ready", flush=True)
    stage.run()
    return {
        "ready_s": ready_s,
        "shown_s": stage.shown_s,
        "aloud_s": stage.aloud_s,
        "right": stage.right,
        "behind_s": stage.behind_s,
        "idle_cpu_s": stage.idle_cpu_s,
        "busy_cpu_s": stage.busy_cpu_s,
        "busy_s": stage.busy_s,
    }


# ---- outside ----


def speak(folder: Path) -> None:
    """Make the callouts beforehand: the measurer's voice is not the board's work."""
    from callout.sound.voice import Voice, VoiceSettings

    voice, rng = Voice(VoiceSettings("en-us", 160)), np.random.default_rng(84)
    said = {f"callout{n}": phrase(*both) for n, both in enumerate(zip(TAGS, VALUES, strict=True))}
    sounds: dict[str, Any] = {}
    for name, text in {**said, "yes": "confirm"}.items():
        words = voice.say(text).astype(float)
        words *= 0.5 * 32768 / np.abs(words).max()
        loud = np.flatnonzero(np.abs(words) > 330)
        floats = rng.standard_normal(words.size + 16_000) * 32768 * 10 ** (QUIET_DBFS / 20)
        floats[6400 : 6400 + words.size] += words
        sounds[name] = np.rint(floats).astype(np.int16)
        sounds[f"{name}_ends"] = 6400 + int(loud[-1])
    np.savez(folder / "said.npz", **sounds)


def children(pid: int) -> list[int]:
    """The processes that ``pid`` has started."""
    listed = Path(f"/proc/{pid}/task").glob("*/children")
    return [int(child) for path in listed for child in path.read_text().split()]


def measured(engine: str, args: argparse.Namespace) -> dict[str, Any]:
    """One engine's run."""
    with tempfile.TemporaryDirectory(prefix="callout-board-") as name:
        folder = Path(name)
        speak(folder)
        board = Board(args.share, args.memory, ("post", "recogniser"))
        command = [sys.executable, __file__, "--inside", name, "--engine", engine]
        command += ["--minutes", str(args.minutes)]
        child = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=Path.cwd()
        )
        assert child.stdin and child.stdout
        try:
            board.hold(child.pid, "post")
            child.stdin.write("go\n")
            child.stdin.flush()
            held: set[int] = set()
            peak_mb = 0.0
            while child.poll() is None:
                for pid in set(children(child.pid)) - held:
                    board.hold(pid, "recogniser")
                    held.add(pid)
                try:
                    peak_mb = max(peak_mb, held_mb([child.pid, *held]))
                except (OSError, IndexError):
                    continue  # one of them has just ended
                time.sleep(0.5)
            told = child.stdout.read().splitlines()
            if child.returncode:
                raise SystemExit(f"{engine}: ended by {child.returncode}; {told}")
            found = json.loads(told[-1])
            return {**found, "mb": peak_mb, "group_mb": board.memory_peak_mb, "how": board.how}
        finally:
            child.kill()
            child.wait()
            board.close()


def row(engine: str, found: dict[str, Any], minutes: float) -> str:
    """One row of the table."""
    idle = found["idle_cpu_s"] / (minutes * 60)
    each_s = (found["busy_cpu_s"] - idle * found["busy_s"]) / len(TAGS)
    hour_s = 3600 * idle + 60 * each_s
    shown, aloud = found["shown_s"], found["aloud_s"]
    return (
        f"| {engine} | {statistics.median(shown):.2f} / {max(shown):.2f} s "
        f"| {statistics.median(aloud):.2f} / {max(aloud):.2f} s | {100 * idle:.2f} % "
        f"| {each_s:.2f} | {hour_s:.0f} | {found['mb']:.0f} MB | {found['ready_s']:.1f} s "
        f"| {len(shown)}, {found['right']:.0f} of {2 * len(TAGS)} |"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engine", action="append", help="closed and pocketsphinx if not given")
    parser.add_argument("--share", type=float, default=0.25, help="of a core, for each process")
    parser.add_argument("--memory", type=int, default=512, help="MB for both together")
    parser.add_argument("--minutes", type=float, default=2.0, help="of quiet, in real time")
    parser.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.inside is not None:
        print(json.dumps(inside(args.inside, args.engine[0], args.minutes)))
        return
    rows = []
    for engine in args.engine or ["closed", "pocketsphinx"]:
        found = measured(engine, args)
        rows.append(row(engine, found, args.minutes))
        print(f"{engine}: {found['how']}; sound waited {found['behind_s']:.2f} s at most")
        if found["group_mb"] is not None:
            print(f"  the group's peak, files it read first among it: {found['group_mb']:.0f} MB")
    print(f"{args.share:g} of a core for each process, {args.memory} MB for both")
    print(f"load of the machine in the last minute {os.getloadavg()[0]:.1f}")
    print(
        "| engine | end of speech to echo shown, median / worst | to its sound | idle, of a core "
        "here | CPU s a callout and its yes | CPU s an hour with 60 | peak memory, shared pages "
        "once | ready after | answered, right |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    print("\n".join(rows))


if __name__ == "__main__":
    main()
