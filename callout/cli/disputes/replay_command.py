"""``callout replay``: the moments of a tree, a day or a person; heard again, by ear or engine."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.core.people import refuse_unknown_person
from callout.core.rounding import parse_graduation
from callout.core.units import parse_decimal
from callout.crews.recorder import Recorder, people_of
from callout.crews.site import Site, is_site, journals_at
from callout.crews.site_rulings import office_rulings
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.lookback.otherwise import read_otherwise, saved_otherwise
from callout.lookback.rehear import language_for
from callout.lookback.replay import Moment, Wanted, chosen, moments
from callout.lookback.telling import lines_of, meaning_told, moment_json, plain
from callout.proof.verify import take_snapshot
from callout.sound.sound_files import decode_flac
from callout.station.hearing.engines import ENGINES
from callout.station.scopes import scope_of
from callout.wording.language_files import load_wording

Beside = Callable[[Moment], list[tuple[str, str]]]
"""Lines to print beside a moment: a short name, and the text."""


@dataclass(frozen=True)
class Part:
    """The moments found in one journal; ``recorder`` is None where there is but one."""

    recorder: Recorder | None
    folder: SurveyFolder
    entries: list[Entry]
    found: list[Moment]

    @property
    def title(self) -> str:
        """Whose moments these are, and of which days."""
        people = ", ".join(dict.fromkeys(plain(moment.who) for moment in self.found))
        days = [moment.day for moment in self.found]
        when = days[0] if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
        short = f"recorder {self.recorder.short}, " if self.recorder else ""
        name = "" if self.recorder else f"{self.folder.config().name or self.folder.path.name}: "
        return f"{name}{short}{people}, {when}"


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("replay")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="a survey or a united site")
    parser.add_argument("--tree", metavar="TAG", help="what was said of this tree")
    parser.add_argument("--plot", help="only in this plot")
    parser.add_argument("--date", type=date.fromisoformat, help="only on this day, as 2026-06-02")
    parser.add_argument(
        "--from",
        dest="begin",
        type=time.fromisoformat,
        metavar="TIME",
        help="only from this time of day on, as 09:15",
    )
    parser.add_argument(
        "--until", type=time.fromisoformat, metavar="TIME", help="only before this time of day"
    )
    parser.add_argument("--who", help="only by this measurer")
    parser.add_argument(
        "--warning",
        nargs="?",
        const="",
        metavar="CHECK",
        help="only readings saved with a warning (of this check)",
    )
    parser.add_argument("--below", metavar="CONFIDENCE", help="only heard with less confidence")
    parser.add_argument("--all", action="store_true", help="every moment of the survey")
    parser.add_argument(
        "--engine", choices=ENGINES, help="hear them again; differences worst first"
    )
    parser.add_argument("--model", default="", help="folder of a Vosk model")
    parser.add_argument(
        "--processes", type=int, default=1, help="hear by this many processes, for a season"
    )
    parser.add_argument(
        "--grammar", type=Path, metavar="FILE", help="read, or hear, them by another grammar (JSGF)"
    )
    parser.add_argument(
        "--graduation", metavar="SIZE", help="set beside each what another graduation would save"
    )
    parser.add_argument(
        "--screen", action="store_true", help="look at them: waveform, words in time, play"
    )
    parser.add_argument("--play", action="store_true", help="play them through the speaker")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """List the moments wanted, or where today's hearing of them differs."""
    wanted = _wanted(args)
    if not 1 <= args.processes <= 64:
        raise OperatorError(f"--processes {args.processes}: from 1 to 64")
    if wanted == Wanted() and not args.all:
        raise OperatorError("say which moments: --tree, --plot, --date, --who, … or --all")
    known: list[str] = []
    parts = [part for part in _parts(args.survey, wanted, known) if part.found]
    if wanted.who is not None:
        refuse_unknown_person(wanted.who, known)
    if not parts:
        print("no such moments", file=sys.stderr)
    elif args.screen:
        from callout.cli.disputes.replay_screen import look

        return look(args, parts)
    for part in parts:
        if args.engine:
            from callout.cli.disputes.replay_again import compare

            print(part.title, file=sys.stderr)
            compare(args, part.folder, part.found)
        else:
            _list(args, part, _beside(args, part.folder, part.entries))
    return 0


def _parts(path: Path, wanted: Wanted, known: list[str]) -> Iterator[Part]:
    """What each recorder's journal holds of what is wanted; ``known`` takes who worked."""
    site = Site(path) if is_site(path) else None
    office = office_rulings(site.held()) if site else {}
    for recorder, folder in journals_at(path):
        snapshot = take_snapshot(folder.database)
        if snapshot.faults:
            raise OperatorError(f"{snapshot.faults[0]}: 'callout verify {folder.path}' tells more")
        known += people_of(snapshot.entries)
        found = list(chosen(moments(snapshot.entries), wanted))
        if site and recorder:
            ruled = {key[1]: one for key, one in office.items() if key[0] == recorder.id}
            for moment in found:
                if moment.saved and (ruling := ruled.get(moment.saved.entry)):
                    moment.rulings.append(ruling)
        yield Part(recorder if site else None, folder, snapshot.entries, found)


def _wanted(args: argparse.Namespace) -> Wanted:
    below = None if args.below is None else parse_decimal(args.below)
    if below is not None and not 0 <= below <= 1:
        raise OperatorError(f"--below {args.below}: confidence runs from 0 to 1")
    tree = args.tree.upper() if args.tree else args.tree
    return Wanted(tree, args.plot, args.date, args.who, args.warning, below, args.begin, args.until)


def _beside(args: argparse.Namespace, folder: SurveyFolder, entries: list[Entry]) -> Beside:
    """What another graduation or grammar makes of a moment, if one was asked for."""
    tellers: list[Beside] = []
    if args.graduation is not None:
        tellers.append(_by_graduation(args.graduation, entries))
    if args.grammar is not None:
        tellers.append(_by_grammar(args.grammar, folder))
    return lambda moment: [line for teller in tellers for line in teller(moment)]


def _by_graduation(text: str, entries: list[Entry]) -> Beside:
    others = saved_otherwise(entries, parse_graduation(text))

    def told(moment: Moment) -> list[tuple[str, str]]:
        if moment.saved is None:
            return []
        other = others.get(moment.entry)
        return [(f"by {text}", other.told if other else "nothing would be saved")]

    return told


def _by_grammar(path: Path, folder: SurveyFolder) -> Beside:
    with folder.reading() as reader:
        plots = reader.plots()
    code = folder.config().language
    language, wording = language_for(code, plots, path), load_wording(code)

    def told(moment: Moment) -> list[tuple[str, str]]:
        scope = scope_of(plots[moment.plot], moment.new_tags)
        found = read_otherwise(moment, language, scope)
        same = found.meanings == moment.heard.meanings
        problem = "nothing" if found.problem is None else wording.part(found.problem)
        means = "; ".join(map(meaning_told, found.meanings)) or problem
        return [("grammar", "the same" if same else means)]

    return told


def _list(args: argparse.Namespace, part: Part, beside: Beside) -> None:
    folder, found = part.folder, part.found
    wording = load_wording(folder.config().language)
    of_site = {"recorder": part.recorder.id} if part.recorder else {}
    if of_site and not args.json:
        print(part.title)
    for moment in found:
        more = beside(moment)
        if args.json:
            told = of_site | moment_json(moment) | dict(more)
            print(json.dumps(told, ensure_ascii=False))
        else:
            print(
                "\n".join(
                    [*lines_of(moment, wording), *(f"  {name:<10} {told}" for name, told in more)]
                )
            )
    if args.play:
        _play(folder, found)


def _play(folder: SurveyFolder, found: Sequence[Moment]) -> None:
    from callout.sound.speaker import Speaker

    with_sound = [item for item in found if item.heard.audio and item.removed_by is None]
    speaker = Speaker(folder.config().speaking.speaker or None)
    try:
        for moment in with_sound:
            print(f"playing entry {moment.entry}: {moment.heard.words}", file=sys.stderr)
            speaker.play(decode_flac(folder.audio.read(str(moment.heard.audio))))
    finally:
        speaker.close()
