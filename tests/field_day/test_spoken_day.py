"""The same day spoken: synthesised speech through the embedded recogniser, and a simulated tape.

Sound goes in as ``listen --audio`` feeds it, frame by frame; plot K3 is measured with a tape on a
pseudo-terminal, through pyserial. A few trees of each plot are walked here, all 300 with
``CALLOUT_SPOKEN_TREES=100``; the recogniser listens for all tags of a plot either way. The table is
printed with ``pytest -s``.
"""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import pytest
from invented_site import UNITS, Standing, make_site
from planted import KINDS, Fault, plant
from simulated_tape import Plugged
from spoken_day import Measurer, Told
from test_field_day import make_folder

from callout.devices.measurement import DeviceNotice, NoticeKind
from callout.devices.settings import device_from
from callout.devices.survey_file import with_device
from callout.journal.folder import SurveyFolder
from callout.journal.reader import current
from callout.proof.verify import take_snapshot
from callout.sound.sound_files import encode_flac
from callout.station.build import endpointer_for, make_station
from callout.station.hearing.listening import Listening
from callout.station.tapes import Tapes
from callout.station.upkeep.table_check import table_faults

TREES = int(os.environ.get("CALLOUT_SPOKEN_TREES", "4"))
NUMBER = 2026

pytestmark = pytest.mark.skipif(
    shutil.which("flite") is None, reason="no synthesiser: install flite"
)


@dataclass
class Day:
    folder: SurveyFolder
    site: list[Standing]
    told: Told
    stream_s: float
    took_s: float


def chosen(site: list[Standing]) -> tuple[list[Standing], dict[int, Fault]]:
    """The trees of the walk: the first of each plot, those with faults before others."""
    faults = plant(site, NUMBER)
    if TREES >= 100:
        return site, faults
    walked: list[Standing] = []
    for plot in UNITS:
        places = [at for at, item in enumerate(site) if item.tree.plot == plot]
        # With the tree before each fault, since two kinds of fault are about it.
        near = [p for at in places if at in faults for p in (at - 1, at) if p in places]
        order = list(dict.fromkeys([*near, *places]))[:TREES]
        walked += [site[at] for at in sorted(order)]
    index = {id(item): at for at, item in enumerate(walked)}
    kept = {index[id(site[at])]: fault for at, fault in faults.items() if id(site[at]) in index}
    return walked, kept


def with_tape(folder: SurveyFolder, port: object) -> None:
    table = {"name": "tape", "transport": "serial", "port": str(port), "retry_s": 0.02,
             "longest_retry_s": 0.1, "lines_a_second": 2000}  # fmt: skip
    text = folder.settings.read_text(encoding="utf-8")
    text = text.replace("join_s = 30.0", "join_s = 86400.0")
    folder.settings.write_text(with_device(text, device_from(table)), encoding="utf-8")


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Day]:
    where = tmp_path_factory.mktemp("spoken")
    site = make_site(NUMBER)
    folder = make_folder(site, where)
    with_tape(folder, where / "tape")
    station = make_station(folder, encode_flac, "auto")
    began = datetime.now().astimezone()
    started = time.monotonic()
    tapes: Tapes | None = None
    port: list[Plugged] = []
    connected = threading.Event()

    def notice(told: DeviceNotice) -> None:
        if told.kind is NoticeKind.CONNECTED:
            connected.set()

    plugging = threading.Thread(
        target=lambda: port.append(Plugged(where / "tape", connected.is_set))
    )
    plugging.start()
    try:
        walked, faults = chosen(site)
        station.open("K1", "R.V.", began)
        tapes = Tapes(station, folder.config(), notice)
        plugging.join(120)
        listening = Listening(station, endpointer_for(folder.config().listening), began, 1e9)
        measurer = Measurer(station, walked, faults, port[0], "K3", listening.anchor)
        listening.run(measurer.frames())
        stream_s = measurer._now_s
    finally:
        if tapes is not None:
            tapes.close()
        station.close()
        for one in port:
            one.pull_out()
    yield Day(folder, walked, measurer.told, stream_s, time.monotonic() - started)


def test_the_table_of_caught_and_missed(day):
    told = day.told
    print(
        f"\n  {len(day.site)} trees of three plots, {told.utterances} utterances, "
        f"{told.pressed} presses, {day.stream_s / 60:.0f} min of sound in {day.took_s:.0f} s"
    )
    print(
        f"  heard right the first time {told.first_time}; echoed wrong and refused "
        f"{told.wrong_echoes}, not heard {told.unheard}, typed in the end {len(told.typed)}: "
        f"{', '.join(told.typed)}"
    )
    print("  planted           caught  by that name  not sayable  missed")
    for kind in KINDS:
        by = {name: n for (one, name), n in told.caught.items() if one == kind}
        missed = sum(fault.kind == kind for fault in told.missed)
        print(
            f"  {kind:17} {sum(by.values()):6}  {by.get(kind, 0):12}  "
            f"{told.unsayable[kind]:11}  {missed:6}"
        )
    print(f"  left at the end of a plot and called again: {', '.join(told.gone_back) or 'none'}")
    print(f"  good readings questioned: {told.questioned} of {told.good}")
    assert told.missed == []
    assert sum(told.caught.values()) > 0


def test_every_tree_walked_has_its_true_value_and_no_other_was_touched(day):
    with day.folder.reading() as reader:
        standing = {(item.plot, item.tag): item for item in current(reader.readings())}
    walked = {(item.tree.plot, item.tree.tag): item for item in day.site}
    assert not standing.keys() - walked.keys()
    for key, saved in standing.items():
        item = walked[key]
        assert (saved.value, saved.unit) == (item.today, item.unit)
        assert saved.status == ("live" if item.today is not None else "dead_standing")
        taped = item.tree.plot == "K3" and item.today is not None
        assert saved.source in ({"tape"} if taped else {"voice", "typed"})
        assert saved.source != "voice" or saved.audio is not None
    assert standing.keys() == walked.keys()


def test_good_readings_are_left_alone(day):
    """At the default limits at most 2 in 100; in a walk of a few trees, at most one."""
    assert day.told.questioned <= max(1, 0.02 * day.told.good)


def test_a_plot_is_complete_when_it_is_and_not_before(day):
    early = day.told.refusals[::2]
    assert all("ot complete" in told or not told for told in early)
    if TREES >= 100:
        assert all("accounted for" in told for told in day.told.refusals[1::2])


def test_the_journal_gives_the_same_tables_again(day):
    assert table_faults(take_snapshot(day.folder.database)) == []
