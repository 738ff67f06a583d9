"""Every engine over the same sets: ``python -m benchmarks.hearing --work FOLDER``.

``natural`` is people saying numbers, commands and sentences as they come; ``people`` are strings of
human digits, each person heard by a head that never heard that person (``--heads``, from
``python -m training.make``); ``voices`` are whole callouts of one invented plot;
``work`` is sound without callouts, at a station; ``front`` are treatments before the engine;
``memory`` is what a process takes; ``tables`` prints what was found so far, and the risk curves.
Sets and findings are kept in the work folder. See docs/hearing.md. Digits: Free Spoken Digit
Dataset, CC BY-SA 4.0.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path

from benchmarks.hearing import (
    at_work,
    fronts,
    hear,
    memory,
    natural,
    natural_heard,
    nothing,
    tables,
)
from benchmarks.hearing.engines import ENGINES, for_folds
from benchmarks.hearing.outcomes import Outcome, figures
from benchmarks.hearing.sets import SPEAKERS
from benchmarks.hearing.voices import VOICES

ROOT = Path(__file__).parents[2]
STAGES = ("natural", "people", "voices", "work", "front", "memory", "tables")
# What the treatments before an engine are tried in.
FRONT_IN = ("clean", "wind 10 dB", "pink 10 dB", "distant")


def main() -> None:
    """Run the stages asked for, one engine after the other."""
    options = _options()
    for stage in options.stages:
        if stage == "tables":
            print(tables.all_of(options.work, options.figures))
            continue
        for name in options.engines:
            _RUN[stage](name, options)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("stages", nargs="*", choices=STAGES, default=[*STAGES])
    parser.add_argument("--work", type=Path, required=True, help="folder for sets and findings")
    parser.add_argument("--heads", type=Path, default=ROOT / ".train" / "heads")
    parser.add_argument(
        "--digits", type=Path, default=ROOT.parent / "shared" / "audio" / "spoken_digits"
    )
    parser.add_argument("--figures", type=Path, help="folder for the risk curves as PNG")
    parser.add_argument("--engines", type=lambda text: text.split(";"), default=[*ENGINES])
    parser.add_argument(
        "--conditions", type=lambda text: text.split(";"), help="only these, parted by ;"
    )
    parser.add_argument("--count", type=int, default=60, help="strings of each person")
    parser.add_argument("--callouts", type=int, default=30, help="callouts of each voice")
    parser.add_argument("--share", type=float, default=1.0, help="how much of the two hours")
    parser.add_argument("--as", dest="called", default="", help="a name for this run's findings")
    return parser.parse_args()


def _people(name: str, options: argparse.Namespace) -> None:
    if not options.digits.is_dir():
        print(f"people left out: no folder {options.digits}")
        return
    found: dict[str, list[Outcome]] = {}
    for person in SPEAKERS:
        spoken = hear.digits_of(options.work, options.digits, person, options.count)
        engine, listening = ENGINES[name](options.heads, person), hear.digits_scope()
        engine.prepare(listening[0])
        for condition, treat in _conditions(options):
            outcomes = list(hear.heard(engine, listening, [treat(one) for one in spoken]))
            found.setdefault(condition, []).extend(outcomes)
            _tell(name, f"people, {condition}, {person}", outcomes)
            _keep(options, "people", name, found)


def _natural(name: str, options: argparse.Namespace) -> None:
    """Everybody is heard by an engine that never learnt from them."""
    sets_of = natural.people(options.digits.parent)
    if not sets_of:
        print(f"natural speech left out: no recordings in {options.digits.parent}")
        return
    engines = for_folds(name, options.heads)
    found: dict[tuple[str, str], list[natural_heard.Answer]] = {}
    for kind, spoken in sets_of.items():
        for condition, treat in natural.conditions(kind).items():
            heard = list(natural_heard.by_folds(engines, kind, [treat(one) for one in spoken]))
            found[kind, condition] = heard
            _keep_natural(options, name, found)
            if kind not in natural.NO_CALLOUT:
                print(
                    f"{name} | {kind}, {condition} | {natural_heard.by_person(heard)}", flush=True
                )
    print(f"{name}\n{natural_heard.table(found)}", flush=True)


def _keep_natural(
    options: argparse.Namespace, name: str, found: dict[tuple[str, str], list[natural_heard.Answer]]
) -> None:
    told = {", ".join(key): [asdict(one) for one in heard] for key, heard in found.items()}
    _write(options, "natural", name, told)


def _voices(name: str, options: argparse.Namespace) -> None:
    engine, listening = ENGINES[name](options.heads, ""), hear.plot_scope()
    engine.prepare(listening[0])
    clean = [
        one for voice in VOICES for one in hear.callouts_by(options.work, voice, options.callouts)
    ]
    found = {}
    for condition, treat in _conditions(options):
        found[condition] = list(hear.heard(engine, listening, [treat(one) for one in clean]))
        _tell(name, f"voices, {condition}", found[condition])
        _keep(options, "voices", name, found)


def _conditions(options: argparse.Namespace) -> Iterable[tuple[str, hear.Treat]]:
    made = hear.conditions(options.work)
    return [(key, made[key]) for key in options.conditions or made]


def _work(name: str, options: argparse.Namespace) -> None:
    found = {}
    for kind, minutes in nothing.MINUTES.items():
        count = max(2, round(minutes * options.share))
        parts = [nothing.part(options.work, kind, number) for number in range(count)]
        counted = at_work.work(ENGINES[name](options.heads, ""), parts)
        found[kind] = asdict(counted)
        print(f"{name} | {kind} | {counted}", flush=True)
        _write(options, "work", name, found)


def _front(name: str, options: argparse.Namespace) -> None:
    """A third of each set suffices to tell treatments apart."""
    treats = hear.conditions(options.work)
    found: dict[str, list[Outcome]] = {}
    for group in (*SPEAKERS, *VOICES[::3]):
        person = group in SPEAKERS
        listening = hear.digits_scope() if person else hear.plot_scope()
        spoken = (
            hear.digits_of(options.work, options.digits, group, options.count)[::2]
            if person
            else hear.callouts_by(options.work, group, options.callouts)
        )
        engine = ENGINES[name](options.heads, group if person else "")
        engine.prepare(listening[0])
        for condition in FRONT_IN:
            treated = [treats[condition](one) for one in spoken]
            for front, apply in fronts.FRONTS.items():
                key = f"{'people' if person else 'voices'}, {condition}, {front}"
                outcomes = list(hear.heard(engine, listening, treated, apply))
                found.setdefault(key, []).extend(outcomes)
                _tell(name, f"{key}, {group}", outcomes)
                _keep(options, "front", name, found)


def _memory(name: str, options: argparse.Namespace) -> None:
    found = memory.of(name, options.heads)
    print(f"{name} | peak memory {found:.0f} MiB", flush=True)
    _write(options, "memory", name, found)


def _tell(name: str, where: str, outcomes: list[Outcome]) -> None:
    print(f"{name} | {where} | {figures(outcomes)}", flush=True)


def _keep(
    options: argparse.Namespace, stage: str, name: str, found: dict[str, list[Outcome]]
) -> None:
    _write(options, stage, name, {key: [asdict(o) for o in outs] for key, outs in found.items()})


def _write(options: argparse.Namespace, stage: str, name: str, found: object) -> None:
    folder = options.work / "found"
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{stage}-{options.called or name}.json"
    part = path.with_suffix(".part")
    part.write_text(json.dumps(found), encoding="utf-8")
    part.rename(path)


_RUN = {
    "natural": _natural,
    "people": _people,
    "voices": _voices,
    "work": _work,
    "front": _front,
    "memory": _memory,
}

if __name__ == "__main__":
    main()
