"""``callout transcribe``: every utterance of sound files, one JSON line each."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from callout.core.model import Plot
from callout.core.saying import saying
from callout.grammar.parser import Parsed, choose
from callout.grammar.scope import Scope
from callout.journal.folder import open_survey
from callout.sound.endpoint import Endpointer
from callout.sound.frames import Utterance
from callout.sound.sound_files import stream_sound
from callout.speech.engine import Engine
from callout.station.data import load_language
from callout.station.hearing.engines import choose_engine
from callout.station.scopes import plot_named, scope_of, survey_species
from callout.wording.language_files import load_wording
from callout.wording.wording import Wording


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("transcribe")
    parser.add_argument("files", type=Path, nargs="+", metavar="FILE")
    parser.add_argument("--survey", type=Path, help="narrow to this survey's tags and sizes")
    parser.add_argument("--plot", help="the plot of the survey (default: its first)")
    parser.add_argument("--engine", default="auto")
    parser.add_argument("--model", default="", help="folder of a Vosk model")
    parser.add_argument("--language", default="en")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print file, start and end seconds, words, confidence and meanings of each utterance."""
    plot = _plot(args.survey, args.plot) if args.survey else None
    language = load_language(args.language, survey_species([plot] if plot else []))
    scope = scope_of(plot) if plot else Scope()
    engine = choose_engine(args.engine, language, args.model)
    wording = load_wording(language.code)
    engine.prepare(language.spoken_in(scope))
    for path in args.files:
        endpointer = Endpointer()
        for frame in stream_sound(path):
            for utterance in endpointer.push(frame):
                _print(path, utterance, engine, scope, wording)
        for utterance in endpointer.flush():
            _print(path, utterance, engine, scope, wording)
    return 0


def _problem(parsed: Parsed | None, wording: Wording) -> str | None:
    if parsed is None:
        return wording.part(saying("none-heard"))
    return None if parsed.problem is None else wording.part(parsed.problem)


def _print(
    path: Path, utterance: Utterance, engine: Engine, scope: Scope, wording: Wording
) -> None:
    candidates = engine.hear(utterance.samples)
    best = candidates[0] if candidates else None
    parsed = choose(best.words, best.meanings, scope) if best else None
    line = {
        "file": str(path),
        "start": round(utterance.start_s, 2),
        "end": round(utterance.end_s, 2),
        "words": best.words if best else "",
        "confidence": best.confidence if best else 0.0,
        "meanings": [meaning.as_json() for meaning in parsed.meanings] if parsed else [],
        "problem": _problem(parsed, wording),
    }
    print(json.dumps(line, ensure_ascii=False))
    sys.stdout.flush()


def _plot(survey: Path, name: str | None) -> Plot:
    with open_survey(survey).reading() as reader:
        return plot_named(reader.plots(), name)
