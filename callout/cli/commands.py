"""The commands: each one's module, what it does, and one example, which a test runs.

Help, completion and the manual page are made from this and from the commands' own options.
"""

from __future__ import annotations

import argparse
import importlib
from dataclasses import dataclass
from typing import Any

from callout import __version__


@dataclass(frozen=True)
class Command:
    """``room`` is the folder of its module; ``example`` omits the program's name."""

    room: str
    does: str
    example: str


# In the order of the help. The module of this name (with underscores for hyphens) offers
# add_parser(subparsers), which names its handler; it is imported for its own command alone.
COMMANDS = {
    "listen": Command("field", "measure: hear, echo, check, save", "listen HARROW --who R.V."),
    "daemon": Command(
        "field",
        "work without a terminal; 'listen' attaches to it, from any number of them",
        "daemon HARROW --status",
    ),
    "devices": Command(
        "field", "find a digital tape, see its lines, write it down", "devices --scan 0"
    ),
    "parse": Command(
        "field", "say what words mean, as JSON", 'parse "tree eighty three, 24.6" --survey HARROW'
    ),
    "transcribe": Command(
        "field", "recognise sound files, one JSON line each", "transcribe callout.wav"
    ),
    "demo": Command("field", "play a recorded walk through the recogniser", "demo --into fen"),
    "doctor": Command(
        "field", "show what works on this machine, and what to do about the rest", "doctor"
    ),
    "remeasure": Command(
        "field",
        "draw trees for a second, blind walk; report how the two differ",
        "remeasure HARROW --share 5%",
    ),
    "practice": Command(
        "field", "walk an invented plot, and be scored", "practice --typed --trees 5"
    ),
    "tune": Command(
        "field", "learn a measurer's voice from twenty prompts", "tune HARROW --who R.V. --prompts"
    ),
    "soundcheck": Command(
        "desk",
        "try microphone and loudspeaker; write the settings that suit them",
        "soundcheck HARROW --list",
    ),
    "new": Command(
        "desk", "make a survey folder from a roster", "new HARROW --trees trees.csv --unit in"
    ),
    "readings": Command(
        "desk", "print the current value of every tree", "readings HARROW --format csv"
    ),
    "rule": Command(
        "desk",
        "rule on a reading: it stands, is amended, or void; the original stays",
        "rule HARROW --entry 5 --stands --reason checked --who O.K.",
    ),
    "office": Command(
        "desk",
        "the page of a survey or site: what is missing, flagged, disputed; rule on it",
        "office HARROW",
    ),
    "review": Command(
        "desk",
        "make one page to see, hear and rule on the readings in a browser",
        "review HARROW --out review.html",
    ),
    "report": Command(
        "desk", "write pages, figures and tables of a survey", "report HARROW --out report"
    ),
    "export": Command(
        "desk", "write the measurements in an open form", "export HARROW --out harrow-data"
    ),
    "import": Command(
        "desk", "read another's table of trees", "import last-time.csv --out imported --yes"
    ),
    "merge": Command(
        "desk",
        "unite the journals of several recorders into one site",
        "merge HARROW HARROW-2 --into SITE --ask-nothing",
    ),
    "push": Command(
        "desk",
        "send a survey's journal to the office's PostgreSQL database",
        "push HARROW postgresql://crew@office/plots",
    ),
    "key": Command(
        "desk",
        "name the key that signs a survey's seals; make one where there is none",
        "key HARROW --who R.V.",
    ),
    "erase": Command(
        "desk",
        "remove a person's sound, or old sound, by an order in the journal; readings stay",
        "erase HARROW --older-than 365",
    ),
    "verify": Command(
        "disputes",
        "prove that nothing was altered, or name the first broken entry",
        "verify HARROW --seal",
    ),
    "rebuild": Command(
        "disputes",
        "make the tables anew from the journal, into a new folder",
        "rebuild HARROW --into HARROW-anew",
    ),
    "replay": Command(
        "disputes",
        "list what was said of a tree, play it, hear it again with any engine",
        "replay HARROW --tree 61",
    ),
    "completion": Command(
        "desk", "print what completes commands in a shell, or the manual page", "completion bash"
    ),
}
FIRST = """\
Callout is the second person at the tree: it hears, echoes, checks, and saves what was confirmed.
  see it work      callout demo             a recorded walk; no microphone is needed
  your machine     callout doctor           what works here, and what to do about the rest
  your own trees   callout new HARROW --trees trees.csv --unit in, then callout listen HARROW
  all the rest     callout --help, and callout COMMAND --help
"""


class _Telling:
    """Wraps argparse's subparsers: each command is described in the table's words."""

    def __init__(self, subparsers: Any) -> None:
        self._subparsers = subparsers

    def add_parser(self, name: str, **more: Any) -> argparse.ArgumentParser:
        """As argparse's; adds what the command does before its own description, and its example."""
        command = COMMANDS[name]
        does = f"{command.does[0].upper()}{command.does[1:]}."
        more["description"] = " ".join(filter(None, (does, more.get("description"))))
        epilogs = (more.get("epilog"), f"Example: callout {command.example}")
        more["epilog"] = " ".join(filter(None, epilogs))
        made: argparse.ArgumentParser = self._subparsers.add_parser(name, help=command.does, **more)
        return made


def build_parser(*commands: str) -> argparse.ArgumentParser:
    """The command line for these ``commands``; if none is ours, with the list of all."""
    parser = argparse.ArgumentParser(
        prog="callout",
        description="The second person for somebody re-measuring tagged trees: "
        "hears tag and diameter, echoes, checks, and saves what was confirmed.",
    )
    parser.add_argument("--version", action="version", version=f"callout {__version__}")
    subparsers = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    asked = [name for name in commands if name in COMMANDS]
    for name in asked:
        room = f"callout.cli.{COMMANDS[name].room}.{name}_command"
        importlib.import_module(room).add_parser(_Telling(subparsers))
    if not asked:
        for name in COMMANDS:
            _Telling(subparsers).add_parser(name)
    return parser
