"""``callout completion``: shell completion of commands, and the manual page."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from callout import __version__
from callout.cli.commands import COMMANDS, build_parser
from callout.core.errors import OperatorError

SHELLS = ("bash", "zsh", "fish")
KEPT = """\
To keep it, print it into the file where your shell, or man, looks:
~/.local/share/bash-completion/completions/callout, ~/.config/fish/completions/callout.fish,
a file _callout in a folder of zsh's $fpath, ~/.local/share/man/man1/callout.1."""

SECTIONS = {
    "exit status": {
        "0": "done",
        "1": "done, and something was found that somebody has to look at",
        "2": "refused: what is wrong, and what to do, is told in one line; nothing was touched",
        "3": "verify only: intact, but not proved to its end by the key that was named",
        "70": "a defect of the program, written into crashes.log",
        "130": "interrupted",
    },
    "environment": {
        "CALLOUT_VOSK_MODEL": "folder of a Vosk model, for every survey",
        "CALLOUT_GRAMMARS": "folder of grammars and wordings of your own",
        "CALLOUT_OFFICE": "address of the office's database",
        "CALLOUT_KEY": "the private key that signs seals",
    },
    "files": {
        "SURVEY/survey.toml": "the settings, with their comments",
        "SURVEY/journal.db": "every entry ever made, hash-chained; never edited by hand",
        "SURVEY/audio": "the sound of each callout",
        "~/.local/state/callout/crashes.log": "what to send with a report of a defect",
    },
}


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("completion", description=KEPT)
    parser.add_argument("kind", choices=(*SHELLS, "man"), help="the shell; man: the manual page")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print it; loads every command, as only their own parsers know their options."""
    parser = build_parser(*COMMANDS)
    print(manual(parser) if args.kind == "man" else completion(parser, args.kind), end="")
    return 0


def completion(parser: argparse.ArgumentParser, shell: str) -> str:
    """A script for ``shell``; arguments that are files or folders complete to those."""
    import shtab

    for command in _commands(parser):
        for action in command._actions:
            if action.type is Path:
                action.complete = shtab.FILE  # type: ignore[attr-defined]
    script: str = shtab.complete(parser, shell)
    return script


def manual(parser: argparse.ArgumentParser) -> str:
    """The manual page, in man's own format. Raises OperatorError without the package for it."""
    try:
        from argparse_manpage.manpage import Manpage
    except ImportError:
        raise OperatorError(
            "the manual page is made by a package that is not installed: "
            "pip install argparse-manpage, then again"
        ) from None

    for command in _commands(parser):  # the page leaves out what follows the options
        command.description = f"{command.description} {command.epilog or ''}"
    page = Manpage(parser)
    page.manual, page.version = "User Commands", __version__
    page.description = "the second person for somebody re-measuring tagged trees"
    page.date = ""  # of the program, not of the day on which it is printed
    for heading, told in SECTIONS.items():
        lines = (f".TP\n.B {name}\n{does}" for name, does in told.items())
        page.add_section(heading, "=", "\n".join(lines))
    return f"{page}\n"


def _commands(parser: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
    """The parsers of the commands, and of their subcommands."""
    found: list[argparse.ArgumentParser] = []
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                found += [command, *_commands(command)]
    return found
