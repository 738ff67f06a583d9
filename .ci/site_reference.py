"""Makes the site's page of reference from the program itself, so that it cannot go stale.

A hook of mkdocs (``hooks`` in mkdocs.yml); ``reference`` alone needs nothing but the program.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]


def on_files(files: Any, config: Any) -> Any:
    """Called by mkdocs with what it found: the page is added."""
    from mkdocs.structure.files import File

    files.append(File.generated(config, "reference.md", content=reference()))
    return files


def reference() -> str:
    """The page: commands and their options, settings, what can be said, what is told."""
    if str(ROOT) not in sys.path:
        sys.path.insert(0, str(ROOT))
    parts = ["# Reference\n\nMade from the program itself.\n", _commands(), _settings()]
    return "\n".join([*parts, _phrases(), _sayings()])


def _commands() -> str:
    from callout.cli.commands import COMMANDS, build_parser

    parsers = build_parser(*COMMANDS)._subparsers._group_actions[0].choices  # type: ignore[union-attr,index]
    shown = "".join(
        f"\n### callout {name}\n\n```text\n{parsers[name].format_help()}```\n" for name in COMMANDS
    )
    return f"## Commands\n{shown}"


def _settings() -> str:
    from callout.core.model import PlotSettings
    from callout.survey.new_settings import new_settings

    text = new_settings("HARROW", PlotSettings(plot=""), {})
    return f"## Settings\n\n`survey.toml` of a new survey:\n\n```toml\n{text}```\n"


def _phrases() -> str:
    grammar = (ROOT / "grammars" / "en.jsgf").read_text(encoding="utf-8")
    return f"## What can be said\n\nThe English grammar, whole (JSGF):\n\n```text\n{grammar}```\n"


def _sayings() -> str:
    text = (ROOT / "callout" / "wording" / "en.ftl").read_text(encoding="utf-8")
    rows = re.findall(r"^([a-z][\w-]*) = (\S.*)$", text, re.MULTILINE)
    table = "".join(f"| `{key}` | {told.replace('|', ' ')} |\n" for key, told in rows)
    return f"## What is told\n\n| key in JSON | in English |\n|---|---|\n{table}"
