"""How ``callout rebuild --from-sound`` makes a journal from sound, and prints the differences."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from rich.progress import track

from callout.cli.shown import rich_console
from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.core.model import Reading
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.session_sound import KIND as SESSION_SOUND
from callout.journal.writer import JournalWriter
from callout.lookback.comparing import Difference, differences
from callout.lookback.from_sound import Afresh, Counts, Happening, by_callouts, by_sessions
from callout.lookback.rehear import language_for
from callout.lookback.telling import plain
from callout.proof.verify import take_snapshot
from callout.station.build import endpointer_for
from callout.station.hearing.engines import choose_engine
from callout.survey.files import FILE_MODE, FOLDER_MODE, new_folder, write_whole

DIFFERENT = 1


def hear_anew(args: argparse.Namespace, folder: SurveyFolder) -> int:
    """Make the new folder and compare the current readings."""
    entries = take_snapshot(folder.database).entries
    counts = Counts()
    happened = list(_happenings(args, folder, entries, counts))
    with new_folder(args.into) as building:
        made = SurveyFolder(building)
        (building / "audio").mkdir(mode=FOLDER_MODE)
        write_whole(made.settings, folder.settings.read_bytes())
        told = _fill(args, folder, made, happened)
        made.database.chmod(FILE_MODE)
    made = SurveyFolder(args.into)
    with folder.reading() as then, made.reading() as now:
        same, found = differences(then.readings(), now.readings())
    for item in found:
        print(_told(item))
    gone = f", {counted(counts.gone, 'sound')} gone" if counts.gone else ""
    print(
        f"{args.into}: {told.heard} callouts heard, {told.nothing_heard} sounds that were none, "
        f"{told.as_recorded} without sound taken as recorded, {told.left_out} left out{gone}"
    )
    print(f"{same} trees the same, {len(found)} differ")
    return DIFFERENT if found else 0


def _happenings(
    args: argparse.Namespace, folder: SurveyFolder, entries: list[Entry], counts: Counts
) -> Iterable[Happening]:
    if args.from_sound == "callouts":
        return by_callouts(entries, folder.audio, counts)
    if not any(entry.kind == SESSION_SOUND for entry in entries):
        raise OperatorError(f"{folder.path} kept no whole session: use --from-sound callouts")
    listening = folder.config().listening
    return by_sessions(entries, folder.audio, lambda: endpointer_for(listening), counts)


def _fill(
    args: argparse.Namespace, folder: SurveyFolder, made: SurveyFolder, happened: list[Happening]
) -> Counts:
    config = folder.config()
    with folder.reading() as reader:
        language = language_for(config.language, reader.plots(), None)
    model = args.model or config.listening.vosk_model
    engine = choose_engine(args.engine or config.listening.engine, language, model)
    writer = JournalWriter(made.database)
    try:
        afresh = Afresh(engine, language, writer, made.audio)
        console = rich_console(stderr=True)
        for item in track(happened, engine.name, console=console, transient=True):
            afresh.take(item, args.sound_only)
    finally:
        writer.close()
    return afresh.counts


def _told(item: Difference) -> str:
    plot, tag, stem = item.tree
    name = f"{plot} {tag} stem {stem}" if stem else f"{plot} {tag}"
    return plain(f"tree {name}: kept {_value(item.kept)}, from the sound {_value(item.anew)}")


def _value(reading: Reading | None) -> str:
    return "nothing" if reading is None else f"{reading.told} (entry {reading.entry})"
