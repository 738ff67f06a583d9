"""Ordinary sentences that are no callouts, some with numbers and yeses in them; echoes of our own.

Invented; other sentences than the head was trained against. Words only, no sound.
"""

from __future__ import annotations

import random
from datetime import datetime
from pathlib import Path

from benchmarks.hearing.plot import TAGS, make_plot
from callout.core.events import Say
from callout.sound.sound_files import encode_flac
from callout.station.data import load_language
from callout.station.done import Done
from callout.station.station import Station
from callout.wording.language_files import english

_WHO = (
    "my brother",
    "the driver",
    "our cook",
    "that old dog",
    "the woman in the red coat",
    "nobody",
    "her teacher",
    "the man from the mill",
    "one of the boys",
    "the postman",
    "your friend",
    "the whole team",
)
_DID = (
    "forgot",
    "carried",
    "wants to sell",
    "never liked",
    "was looking for",
    "had to mend",
    "brought along",
    "paid twenty pounds for",
    "has washed",
    "dropped",
    "is hiding",
    "asked me about",
    "counted three of",
)
_WHAT = (
    "the blue kettle",
    "a sack of potatoes",
    "the maps in the glove box",
    "two pairs of socks",
    "that noisy radio",
    "the ladder behind the shed",
    "six boxes of apples",
    "a broken umbrella",
    "the keys of the lorry",
    "his grandfather's watch",
    "the wet sleeping bags",
    "a loaf of bread",
)
_HOW = (
    "",
    "",
    "last Sunday",
    "before breakfast",
    "at half past seven",
    "because of the rain",
    "without telling anyone",
    "on the way to the station",
    "and then went home",
    "for the second time",
    "while we were talking",
    "near the bridge",
)
_WHOLE = (
    "well I would not say that it is wrong, but it is not quite right either",
    "she said yes at once and they laughed about it",
    "no I do not think so, ask him again tomorrow",
    "we need eleven more chairs and a longer table",
    "there were about forty people and only one of them could swim",
    "can you confirm that the bus leaves at ten",
    "I was born in nineteen seventy four in a small town by the sea",
    "that makes thirty euros and fifty cents all together",
    "the number you have called is busy at the moment",
    "did you skip lunch again, you must be hungry",
    "repeat after me and do not be shy",
    "what is left of the cake is on the kitchen table",
    "it is nine degrees this morning and I am freezing",
    "please save some coffee for the others",
    "the dead leaves are blocking the gutter",
    "my telephone is at five per cent",
    "they have lived in the same house for two hundred years",
    "where was I, oh yes, the story of the goat",
    "tag along if you like, there is room for seven",
    "I note that nobody has offered to drive",
)


def sentence(rng: random.Random) -> str:
    """One ordinary sentence."""
    if rng.random() < 0.4:
        return rng.choice(_WHOLE)
    said = f"{rng.choice(_WHO)} {rng.choice(_DID)} {rng.choice(_WHAT)} {rng.choice(_HOW)}"
    return said.strip()


def echoes(folder: Path, count: int, rng: random.Random) -> list[str]:
    """What the tool itself says while readings are typed and confirmed, in their order."""
    now = datetime.now().astimezone()
    station = Station(
        make_plot(folder / "echoes", now), load_language("en"), None, encode_flac, lambda: now
    )
    told: list[str] = []

    def watch(done: Done) -> None:
        told.extend(
            english().shown(*effect.says) for effect in done.effects if isinstance(effect, Say)
        )

    station.watch(watch)
    try:
        station.open("K2", "R.V.")
        for tag in rng.sample(TAGS, min(count // 2 + 1, len(TAGS))):
            station.type(f"tree {tag}, {rng.randint(81, 699) / 10}")
            station.press("confirm")
    finally:
        station.close()
    return told[-count:]
