"""Unites journals into a site: append-only, whatever the order and however often.

Every part is read and checked before anything is written. Of each recorder the site keeps the
longest of the given journals, all of which must agree; a copy is made whole beside its place. What
a kill cuts short, the next merge finishes.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from callout.core.counted import counted
from callout.core.errors import CalloutError, OperatorError
from callout.crews.aside import put_aside, taken_wrongly
from callout.crews.pool import chain, pooled
from callout.crews.recorder import SHORT_LETTERS, Recorder, recorder_of
from callout.crews.site import TEXT, Site, is_site, site_folders
from callout.journal.audio import AudioStore
from callout.journal.copying import write_journal
from callout.journal.folder import SITE_MARK, SurveyFolder, open_survey
from callout.journal.reader import Entry
from callout.journal.removals import carry_out, removed_in, sounds_left
from callout.journal.schema import StrangeError
from callout.journal.writer import UNITED
from callout.proof.seals import Seal, read_seals, seals_path
from callout.proof.verify import Fault, Snapshot, Verifier, take_snapshot
from callout.survey.files import (
    FOLDER_MODE,
    PART,
    new_folder,
    storage_errors,
    sync_folder,
    write_whole,
)
from callout.survey.guard import is_plain, read_plain, refuse_links
from callout.survey.species_table import SPECIES_FILE

# Files beside the journal that a person may have edited.
CARRIED = ("survey.toml", SPECIES_FILE)
NOTICE = """\
This folder is a copy that 'callout merge' made, and nothing is added to it: work goes on at the
recorder. If the recorder is lost, copy the whole folder elsewhere, take this file out of the copy,
and go on there.
"""
TableFaults = Callable[[Snapshot], list[Fault]]


@dataclass
class Part:
    """One recorder's journal as found in a folder, with the files beside it."""

    recorder: Recorder
    folder: SurveyFolder
    snapshot: Snapshot
    files: Mapping[str, bytes]
    seals: list[Seal]


@dataclass
class Merged:
    """The result of a merge: new entries and sounds by recorder, and remarks."""

    site: Site
    new: dict[str, int] = field(default_factory=dict)
    sounds: dict[str, int] = field(default_factory=dict)
    recorders: list[Recorder] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def parts_of(path: Path, table_faults: TableFaults) -> list[Part]:
    """The journals in a survey folder or a united site, checked.

    Raises OperatorError naming the first fault of a broken one; empty for a survey that nobody has
    opened yet.
    """
    if is_site(path):
        return [_part(item.folder, table_faults) for item in Site(path).held()]
    folder = open_survey(path)
    try:
        with folder.reading() as reader:
            opened = recorder_of(reader.entries()) is not None
    except StrangeError:
        opened = True  # the check reports what is strange
    return [_part(folder, table_faults)] if opened else []


def _part(folder: SurveyFolder, table_faults: TableFaults, *, hashed: bool = True) -> Part:
    """The content of a folder, checked as by 'callout verify'.

    Sounds may arrive later; those that are there must match the journal.
    """
    refuse_links(folder.path)
    # Seals first: a seal made meanwhile is then in the entries and not in these lines.
    seals = read_seals(seals_path(folder))
    snapshot = take_snapshot(folder.database)
    verifier = Verifier(folder, hashed=hashed, absent=True)
    for entry in snapshot.entries:
        verifier.take(entry)
    faults = verifier.report(snapshot.faults).faults
    recorder = None if faults else recorder_of(snapshot.entries)
    if any(entry.kind == "remeasures" for entry in snapshot.entries[:5]):
        raise OperatorError(
            f"{folder.path} is a blind second walk and no recorder of the site: keep it beside, "
            "and name it to 'callout report --remeasured'"
        )
    if recorder is not None and not recorder.office:
        faults += table_faults(snapshot)
    if faults or recorder is None:
        told = faults[0] if faults else "nobody has opened it"
        raise OperatorError(
            f"{folder.path} is not intact and is not taken: {told}; see 'callout verify'"
        )
    files = {}
    for name in CARRIED:
        with storage_errors(f"cannot read {folder.path / name}"):
            if is_plain(folder.path / name):
                files[name] = read_plain(folder.path / name)
    return Part(recorder, folder, snapshot, files, seals)


# ---- uniting ----


def merge(
    parts: Sequence[Part], into: Path, tell: Callable[[str], None], replace: str = ""
) -> Merged:
    """Unite ``parts`` with the site ``into``, which is made if it does not exist.

    ``replace`` is the beginning of a recorder's id: the site's copy of it is wrong, and is put
    aside for the one among ``parts``. ``tell`` is called for each recorder as it is written. Raises
    ForkError if two journals of one recorder differ; then nothing was written.
    """
    site = _site_at(into, parts)
    with site.locked():
        wrong = taken_wrongly(site, {part.recorder.id for part in parts}, replace)
        mine = [_mine(folder) for folder in site_folders(site) if folder != wrong]
        everything = [*mine, *parts]
        pool = pooled((part.recorder.id, part.snapshot.entries) for part in everything)
        here = {part.recorder.id: len(part.snapshot.entries) for part in mine}
        by_id: dict[str, list[Part]] = {}
        for part in everything:
            by_id.setdefault(part.recorder.id, []).append(part)
        done = Merged(site)
        if wrong is not None:
            done.notes.append(f"put aside: {put_aside(site, wrong)}")
        for name in sorted(by_id):
            whole = chain(pool[name])
            done.recorders.append(by_id[name][0].recorder)
            done.new[name] = len(whole) - here.get(name, 0)
            tell(by_id[name][0].recorder.told)
            _write(site, name, by_id[name], whole, done)
    return done


def _mine(folder: SurveyFolder) -> Part:
    try:
        return _part(folder, lambda _: [], hashed=False)
    except CalloutError as error:
        raise OperatorError(
            f"{error}; a copy that was taken wrongly is put aside with --replace "
            f"{folder.path.name[:SHORT_LETTERS]}, where its recorder's folder is merged again"
        ) from error


def _site_at(into: Path, parts: Sequence[Part]) -> Site:
    site = Site(into)
    if is_site(into):
        return site
    if not parts:
        raise OperatorError("nobody has opened these surveys yet: there is nothing to unite")
    if into.exists():
        raise OperatorError(f"{into} is there and is no united site: choose another folder")
    pooled((part.recorder.id, part.snapshot.entries) for part in parts)  # no site for a fork
    with new_folder(into) as building:
        Site(building).recorders.mkdir(mode=FOLDER_MODE)
        write_whole(building / SITE_MARK, TEXT.encode())
    return site


def longest(copies: Sequence[Part]) -> Part:
    """The copy with most entries; the first of equal ones."""
    return max(copies, key=lambda part: len(part.snapshot.entries))


def carried(copies: Sequence[Part]) -> dict[str, bytes]:
    """The files of the copies with the longest journal.

    If equally long ones differ, the greater text is taken, so that the order never matters.
    """
    most = len(longest(copies).snapshot.entries)
    last = [part.files for part in copies if len(part.snapshot.entries) == most]
    return {
        name: max(files[name] for files in last if name in files)
        for name in CARRIED
        if any(name in files for files in last)
    }


def sealed(copies: Sequence[Part]) -> bytes:
    """The lines of all copies' seals, each once, signed if any copy's is."""
    found: dict[tuple[int, str, str], str] = {}
    for seal in (seal for part in copies for seal in part.seals):
        key = (seal.entry, seal.hash, seal.at)
        found[key] = max(found.get(key, ""), seal.signature)
    lines = [Seal(*key, signature=signature).line for key, signature in sorted(found.items())]
    return "".join(f"{line}\n" for line in lines).encode()


def _write(site: Site, name: str, copies: Sequence[Part], whole: list[Entry], done: Merged) -> None:
    source = longest(copies)
    office = site.office.path
    if any(part.folder.path == office for part in copies):
        if len(whole) > len(copies[0].snapshot.entries):
            raise OperatorError(f"a copy of {office} knows more rulings than it: was it put back?")
        return
    folder = SurveyFolder(site.recorders / name)
    with storage_errors(f"cannot make {folder.path}"):
        (folder.path / "audio").mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        _clear_halves(folder.path)
        sync_folder(site.recorders)
    done.sounds[name] = _copy_sounds(folder, copies, whole, done)
    _put(folder.path / UNITED, NOTICE.encode())
    if done.new[name] or not folder.database.is_file():
        _write_journal(folder, source)
    wanted = carried(copies)
    for file in CARRIED:
        if file in wanted:
            _put(folder.path / file, wanted[file])
        else:
            (folder.path / file).unlink(missing_ok=True)
    lines = sealed(copies)
    if lines:
        _put(seals_path(folder), lines)
    carry_out(folder.audio, removed_in(whole))


def _clear_halves(folder: Path) -> None:
    """Remove what a killed merge left half written; the site is locked, so nobody writes it."""
    for half in (*folder.glob(f"{PART}*"), *folder.glob(f"audio/{PART}*")):
        shutil.rmtree(half) if half.is_dir() else half.unlink()


def _put(path: Path, data: bytes) -> None:
    if not path.is_file() or path.read_bytes() != data:
        write_whole(path, data)


def _write_journal(folder: SurveyFolder, source: Part) -> None:
    """Replace the journal atomically: readers see the old one or the new."""
    with (
        storage_errors(f"cannot write {folder.database}"),
        tempfile.TemporaryDirectory(dir=folder.path, prefix=PART) as building,
    ):
        new = Path(building) / folder.database.name
        write_journal(new, source.snapshot.entries, source.snapshot.tables)
        new.replace(folder.database)
        sync_folder(folder.path)


# ---- sounds ----


def _copy_sounds(
    folder: SurveyFolder, copies: Sequence[Part], whole: list[Entry], done: Merged
) -> int:
    stores = [part.folder.audio for part in copies if part.folder.path != folder.path]
    copied = missing = 0
    for digest in sounds_left(whole):
        if folder.audio.has(digest):
            continue
        flac = _first(stores, digest)
        if flac is None:
            missing += 1
        else:
            folder.audio.keep(flac)
            copied += 1
    if missing:
        are, them = ("is", "it") if missing == 1 else ("are", "them")
        done.notes.append(
            f"{copies[0].recorder.told}: {counted(missing, 'sound')} {are} in none of the folders; "
            f"merge the folder that holds {them} when it is at hand"
        )
    return copied


def _first(stores: Iterable[AudioStore], digest: str) -> bytes | None:
    for store in stores:
        if store.has(digest):
            return store.read(digest)
    return None
