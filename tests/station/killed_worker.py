"""The process that gets killed: a real station on a real survey, saying only what was told.

A line ``IN``, SURVEY and NUMBER, with tabs between, says where; each line ``DELAY`` after it starts
a worker, a forked process of its own, and sends it SIGKILL after that many seconds; what the worker
wrote is answered as one JSON line. A delay ``+N:SECONDS`` counts from the Nth confirmation being
pressed; ``@N:kill`` and ``@N:torn`` let the file layer (``faulty_files.c``) kill at its Nth call
that changes a file. The worker writes CONFIRMING before it presses, CONFIRMED only when "saved" was
told to it.
"""

from __future__ import annotations

import gc
import json
import os
import random
import select
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import datetime
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import in_english
import numpy as np
from journal_tools import survey
from station_tools import LANGUAGE, ScriptedEngine

from callout.core.events import Save, Say
from callout.journal.folder import SurveyFolder
from callout.sound.sound_files import encode_flac
from callout.station.done import Done
from callout.station.station import Station

TAGS = ("83", "91")
SPELT = {"83": "tree eighty three", "91": "tree ninety one"}


class EnoughError(Exception):
    """Raised by what is told, to end the work."""


def work(folder: SurveyFolder, write: Callable[..., None], seed: int) -> None:
    """Measure for ever: type or speak a size, confirm it, sometimes undo, sometimes say no.

    ``write`` is told of each step.
    """
    chance = random.Random(seed)
    engine = ScriptedEngine()
    station = Station(folder, LANGUAGE, engine, encode_flac, lambda: datetime.now().astimezone())

    def watch(done: Done) -> None:
        saved = [effect.reading for effect in done.effects if isinstance(effect, Save)]
        told = [in_english.told(effect) for effect in done.effects if isinstance(effect, Say)]
        assert told, "every step says something"
        for reading in saved:
            write("CONFIRMED", reading.entry, reading.tag, reading.value, int(reading.void))

    station.watch(watch)
    write("READY", station.memory.pending.draft.entry if station.memory.pending else 0)
    station.open("K1", "R.V.")
    with closing(station):
        while True:
            tag, whole, tenth = chance.choice(TAGS), chance.randint(21, 29), chance.randint(0, 9)
            if chance.random() < 0.5:
                station.type(f"{tag} {whole}.{tenth}")
            else:
                units = ("", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
                point = units[tenth] or "oh"
                engine.next_words = f"{SPELT[tag]} twenty {units[whole % 10]} point {point}"
                samples = np.random.default_rng(chance.randint(0, 2**60)).integers(-99, 99, 3000)
                station.hear(samples.astype(np.int16))
            pending = station.memory.pending
            assert pending is not None, station.memory
            write("PENDING", pending.draft.entry, tag, pending.draft.value)
            if chance.random() < 0.15:
                write("REJECTING", pending.draft.entry)
                station.press("reject")
                write("REJECTED", pending.draft.entry)
                continue
            write("CONFIRMING", tag, pending.draft.value)
            station.press("accept")
            if chance.random() < 0.15:
                write("UNDOING")
                station.press("undo")
                station.press("accept")


def warm() -> None:
    """Do a little of the work here, so that what is made once is made for every worker."""
    steps = Counter[object]()

    def enough(*words: object) -> None:
        steps[words[0]] += 1
        if steps["PENDING"] > 2:
            raise EnoughError

    with TemporaryDirectory() as place, suppress(EnoughError):
        work(survey(Path(place) / "warm"), enough, 0)
    gc.collect()
    gc.freeze()  # no worker walks, and so copies, what all of them share


def killed_after(pid: int, source: int, delay: str) -> str:
    """Read the worker's lines until its time has come; kill it; return all it wrote."""
    if delay.startswith("@"):
        return all_written(source)
    text, presses = "", 0
    confirmations, _, seconds = delay.lstrip("+").rpartition(":")
    while confirmations and presses < int(confirmations):
        piece = os.read(source, 65536).decode()
        if not piece:
            break
        text += piece
        presses = text.count("CONFIRMING")
    until = time.monotonic() + float(seconds)
    while (left := until - time.monotonic()) > 0:
        ready, _, _ = select.select([source], [], [], left)
        if ready:
            piece = os.read(source, 65536).decode()
            if not piece:
                break
            text += piece
    os.kill(pid, signal.SIGKILL)
    while piece := os.read(source, 65536).decode():
        text += piece
    return text


def all_written(source: int) -> str:
    """What it wrote until the file layer killed it."""
    text = ""
    while select.select([source], [], [], 120)[0] and (piece := os.read(source, 65536).decode()):
        text += piece
    return text


def written_to(pipe: int, *words: object) -> None:
    """Write one line."""
    os.write(pipe, (" ".join(map(str, words)) + "\n").encode())


def order_fault(delay: str) -> None:
    """In the worker: have the file layer fail as this line says."""
    if delay.startswith("@"):
        os.environ["FAULTY_AT"], os.environ["FAULTY_HOW"] = delay[1:].split(":")


def main() -> None:
    """Start and kill one worker a line."""
    folder, number, run = SurveyFolder(Path()), 0, 0
    warm()
    for line in sys.stdin:
        if line.startswith("IN\t"):
            _, path, seed = line.rstrip("\n").split("\t")
            folder, number, run = SurveyFolder(Path(path)), int(seed), 0
            continue
        source, sink = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.close(source)
            try:
                order_fault(line.strip())
                work(folder, partial(written_to, sink), run * 7919 + number)
            finally:
                os._exit(1)  # a worker that ends by itself has failed
        os.close(sink)
        text = killed_after(pid, source, line.strip())
        os.close(source)
        _, status = os.waitpid(pid, 0)
        killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
        print(json.dumps({"killed": killed, "lines": text.splitlines()}), flush=True)
        run += 1


if __name__ == "__main__":
    main()
