"""``callout parse``: what words mean, as JSON."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.core.model import Plot
from callout.grammar.parser import Parsed, parse_words
from callout.grammar.scope import Scope
from callout.station.data import load_language
from callout.station.scopes import plot_named, scope_of, survey_species


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("parse")
    parser.add_argument("words", metavar="WORDS")
    parser.add_argument("--survey", type=Path, help="let this survey's roster decide")
    parser.add_argument("--plot", help="the plot of the survey (default: its first)")
    parser.add_argument("--language", default="en")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the meanings; words without one are printed as a problem, not an error."""
    plot = _plot(args.survey, args.plot) if args.survey else None
    language = load_language(args.language, survey_species([plot] if plot else []))
    try:
        parsed = parse_words(language.full, args.words, scope_of(plot) if plot else Scope())
    except OperatorError as error:
        parsed = Parsed(args.words, (), error.saying)
    print(json.dumps(parsed_json(parsed, args.language), ensure_ascii=False))
    return 0


def parsed_json(parsed: Parsed, language: str) -> dict[str, Any]:
    """Words, meanings and problem as plain values; the problem in ``language`` and by its key."""
    told: dict[str, Any] = {
        "words": parsed.words,
        "meanings": [meaning.as_json() for meaning in parsed.meanings],
        "problem": None,
    }
    if parsed.problem is not None:
        from callout.wording.language_files import load_wording

        told["problem"] = load_wording(language).part(parsed.problem)
        told["says"] = parsed.problem.as_json()
    return told


def _plot(survey: Path, name: str | None) -> Plot:
    from callout.journal.folder import open_survey

    with open_survey(survey).reading() as reader:
        return plot_named(reader.plots(), name)
