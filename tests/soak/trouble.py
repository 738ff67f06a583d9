"""The faults of the soak, each by name: what goes wrong with one callout, and when.

Every one is a generator of sounds that runs beside the measurer's callout: it is advanced before
it, within it, while it is decoded, before the yes, and after. Invented, from what a wood does.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np
from measurer import Changed, Gap, Item, Unplug

if TYPE_CHECKING:
    from soaking import Soak

BEFORE, WITHIN, DECODING, CONFIRMING, REFUSED, AFTER = range(6)
"""The moments of one callout, in order."""
Fault = Callable[["Soak", int], Iterator[Item]]


def nothing(soak: Soak, moment: int) -> Iterator[Item]:
    yield from ()


# ---- the microphone ----


def unplugged(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == BEFORE:
        yield Unplug(0)


def unplugged_while_speaking(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == WITHIN:
        yield Unplug(1)


def away_for_a_while(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == BEFORE:
        yield Unplug(5)


def another_microphone(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == BEFORE:
        yield Unplug(0, "built in")


def another_profile(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == BEFORE:
        yield Changed(2)


def another_profile_while_speaking(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == WITHIN:
        yield Changed()


def muted(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == BEFORE:
        yield np.zeros(16_000 * 6, dtype=np.int16)
        assert soak.told("no sound from the microphone"), "a muted microphone must be noticed"
        yield soak.measurer.quiet(1)


def sound_lost_while_speaking(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == WITHIN:
        yield Gap(0.7)


def knocks_and_gusts(soak: Soak, moment: int) -> Iterator[Item]:
    if moment in (BEFORE, AFTER):
        for _ in range(6):
            yield soak.measurer.quiet(0.06, -8)
            yield soak.measurer.quiet(0.4)
        yield soak.measurer.quiet(1.5, -30)
        yield soak.measurer.quiet(1.0)


def others_talk(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == BEFORE:
        yield soak.measurer.speech("what a lovely morning for a walk, shall we have lunch here")


def our_echo_is_heard(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == WITHIN:
        soak.gate_echo(0.5)
    yield from ()


def yes_too_early(soak: Soak, moment: int) -> Iterator[Item]:
    """A yes with nothing to answer."""
    if moment == BEFORE:
        yield soak.measurer.speech("confirm")


# ---- the recogniser ----


def _kill(soak: Soak, how: signal.Signals) -> None:
    pid = soak.recogniser
    if pid is not None:
        os.kill(pid, how)


def recogniser_killed(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == BEFORE:
        _kill(soak, signal.SIGKILL)
    yield from ()


def recogniser_crashes_decoding(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == DECODING:
        late_s = soak.measurer.chance.uniform(0.0, 0.3)
        threading.Timer(late_s, _kill, (soak, signal.SIGSEGV)).start()
    yield from ()


def recogniser_hangs(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == DECODING:
        soak.hangs_soon()
        _kill(soak, signal.SIGSTOP)
    yield from ()


# ---- the disk ----


def _disk(how: str, within: int) -> Fault:
    def fault(soak: Soak, moment: int) -> Iterator[Item]:
        if moment == CONFIRMING:
            soak.break_disk(how, soak.measurer.chance.randint(1, within))
        elif moment in (REFUSED, AFTER):
            soak.heal_disk()
        yield from ()

    return fault


disk_full = _disk("ENOSPC", 1)
disk_read_only = _disk("EROFS", 1)
disk_fails_in_a_commit = _disk("EIO", 25)
disk_slow = _disk("slow", 1)


def disk_full_while_speaking(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == DECODING:
        soak.break_disk("ENOSPC", 1)
    elif moment == REFUSED:
        soak.heal_disk()
    yield from ()


def folder_taken_away(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == CONFIRMING:
        soak.take_folder_away()
    elif moment in (REFUSED, AFTER):
        soak.bring_folder_back()
    yield from ()


# ---- clocks and power ----


def _clock(hours: float) -> Fault:
    def fault(soak: Soak, moment: int) -> Iterator[Item]:
        if moment == (CONFIRMING if soak.measurer.chance.random() < 0.5 else WITHIN):
            soak.wall_offset_s += hours * 3600
        yield from ()

    return fault


clock_set_forward, clock_set_back = _clock(1.5), _clock(-1.5)


def another_time_zone(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == CONFIRMING:
        os.environ["TZ"] = soak.measurer.chance.choice(["UTC", "America/Denver", "Asia/Seoul"])
        time.tzset()
    yield from ()


def asleep(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == CONFIRMING:
        soak.slept_s += 2400
        soak.wall_offset_s += 2400
        yield Unplug(1)


def started_anew(soak: Soak, moment: int) -> Iterator[Item]:
    """Stopped with a reading waiting, and started again."""
    if moment == CONFIRMING:
        soak.restart()
    yield from ()


# ---- people ----


def second_terminal(soak: Soak, moment: int) -> Iterator[Item]:
    """Somebody types another tree while a reading waits, and takes it back."""
    if moment == CONFIRMING:
        soak.station.type("tree 12")
        soak.station.press("scratch")
    yield from ()


def taken_back(soak: Soak, moment: int) -> Iterator[Item]:
    if moment == AFTER:
        soak.station.press("undo")
        soak.station.press("accept")
    yield from ()


KINDS: dict[str, Fault] = {
    fault.__name__.replace("_", " ") if fault.__name__ != "fault" else name.replace("_", " "): fault
    for name, fault in list(globals().items())
    if callable(fault)
    and name not in ("nothing", "Fault", "Callable", "Iterator", "Changed", "Gap", "Unplug")
    and not name.startswith("_")
    and getattr(fault, "__module__", "") == __name__
}
