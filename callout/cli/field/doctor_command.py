"""``callout doctor``: one page of what works here, and what to do about the rest."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError
from callout.doctor import means as tried
from callout.doctor import surroundings
from callout.doctor.finding import Finding, State, broken, looked, told, works, worst
from callout.doctor.means import Means
from callout.journal.folder import SurveyFolder, open_survey

MARKS = {State.WORKS: "works ", State.LESS: "LESS  ", State.BROKEN: "BROKEN"}
ENDS = {
    State.WORKS: "Everything works here.",
    State.LESS: "Work can begin, with less: see LESS above.",
    State.BROKEN: "Put right what is BROKEN before a day begins.",
}


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "doctor",
        description="Nothing is changed, played or kept. Exit code 0: all works. 1: work can "
        "begin, with less. 2: put something right first.",
    )
    parser.add_argument(
        "survey",
        type=Path,
        nargs="?",
        metavar="SURVEY",
        help="try what this survey's settings ask for (default: those of a new one)",
    )
    parser.add_argument("--json", action="store_true", help="for programs, and for a report")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check each thing and report it at once, as some take seconds."""
    found = []
    for one in findings(args.survey):
        found.append(one)
        if not args.json:
            print(f"{MARKS[one.state]}  {one.name:13} {one.found}", flush=True)
            if one.do:
                print(f"{'':23}do: {one.do}", flush=True)
    state = worst(found)
    if args.json:
        whole = {"state": state.name.lower(), "findings": [one.as_json() for one in found]}
        print(json.dumps(whole, ensure_ascii=False, indent=1))
    else:
        print(ENDS[state])
    return int(state)


def findings(survey: Path | None) -> Iterator[Finding]:
    """Everything, in the order of the page."""
    yield looked("versions", surroundings.versions)
    folder, means = None, Means()
    if survey is not None:
        settings, folder, means = _asked(survey)
        yield settings
    yield looked("clock", lambda: surroundings.clock(folder))
    yield looked("disk", lambda: surroundings.disk(folder.path if folder else Path.cwd()))
    yield looked("home", surroundings.home)
    if folder is not None:
        yield looked("permissions", lambda: surroundings.permissions(folder))
    yield looked("letters", surroundings.letters)
    yield looked("terminal", surroundings.terminal)
    yield looked("microphone", lambda: tried.microphone(means))
    yield looked("speaker", lambda: tried.speaker(means))
    spoken = []

    def speak() -> Finding:
        found, said = tried.voice(means)
        spoken.append(said)
        return found

    yield looked("voice", speak)
    yield looked("recogniser", lambda: tried.recogniser(means, next(iter(spoken), None)))
    yield looked("serial ports", tried.ports)
    yield looked("radio", tried.radio)


def _asked(survey: Path) -> tuple[Finding, SurveyFolder | None, Means]:
    """What the survey's settings ask for; a broken file is a finding, and the rest goes on."""
    try:
        folder = open_survey(survey)
        config = folder.config()
    except CalloutError as error:
        return broken("settings", told(error), "mend it, or name another survey"), None, Means()
    means = Means(config.language, config.listening, config.speaking)
    return works("settings", f"{folder.settings} can be read"), folder, means
