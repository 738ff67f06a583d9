"""``listen`` on a disk that fills up meanwhile: what was saved stays, and the exit code says so."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

from command_tools import run_callout
from journal_tools import mounted

from callout.practice.demo import make_demo_survey
from callout.sound.frames import SAMPLE_RATE_HZ
from callout.sound.sound_files import encode_flac, read_sound
from callout.station.data import data_folder

WALK = data_folder("audio_fixtures") / "walk.flac"
FIRST_S = 60


def test_a_disk_that_fills_up_ends_with_an_error_and_keeps_what_was_saved(tmp_path: Path) -> None:
    with mounted(tmp_path / "disk", "size=320k") as disk:
        folder = make_demo_survey(disk / "fen", datetime.now().astimezone())
        sound = tmp_path / "first.flac"  # the disk is full long before it ends
        sound.write_bytes(encode_flac(read_sound(WALK)[: FIRST_S * SAMPLE_RATE_HZ]))
        ran = run_callout("listen", folder.path, "--headless", "--audio", sound)
        assert ran.code == 2
        # The seal at the end may find a little room, or none.
        *sealing, refusing = ran.err.splitlines()
        assert refusing.startswith("callout: the disk refused ")
        assert [one[: len("callout: not sealed: ")] for one in sealing] in (
            [],
            ["callout: not sealed: "],
        )
        told = [(line["tag"], line["recorded"]) for line in ran.lines if line["event"] == "saved"]
        refused = [line for line in ran.lines if "No space left" in json.dumps(line)]
        assert told, "the disk held the first ones"
        assert len(refused) > 3, "and again and again"
        with folder.reading() as reader:
            rows = [(row.tag, str(row.value)) for row in reader.readings()]
        assert rows == told
