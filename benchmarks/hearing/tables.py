"""The tables of everything found so far, and the risk curves. Nothing is heard here."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from benchmarks.hearing import at_work, risk
from benchmarks.hearing.outcomes import HEADING, Outcome, figures
from benchmarks.hearing.voices import is_unseen

Found = dict[str, dict[str, list[Outcome]]]


def all_of(work: Path, pictures: Path | None) -> str:
    """Every table there is something for, as Markdown; PNGs into ``pictures``."""
    people, voices = _outcomes(work, "people"), _outcomes(work, "voices")
    told = [
        *_by_condition("Strings of 2 to 5 digits, people left out of training", people),
        *_by_voice("The same, clean, by person", people),
        *_by_condition("Whole callouts of one plot, synthetic voices", voices),
        *_by_seen("The same, by voices the head learnt from and never heard", voices),
        *_by_voice("The same, clean, by voice", voices),
        *_by_condition("Treatments before the engine", _outcomes(work, "front")),
        *_at_work(work),
        *_memory(work),
    ]
    for name, found in (("people", people), ("voices", voices)):
        told += _risk(name, found, pictures)
    return "\n".join(told)


def _files(work: Path, stage: str) -> Iterator[tuple[str, Any]]:
    for path in sorted((work / "found").glob(f"{stage}-*.json")):
        yield path.stem.removeprefix(f"{stage}-"), json.loads(path.read_text(encoding="utf-8"))


def _outcomes(work: Path, stage: str) -> Found:
    return {
        engine: {key: [Outcome(**one) for one in outs] for key, outs in found.items()}
        for engine, found in _files(work, stage)
    }


def _table(title: str, first: str, heading: str, rows: list[str]) -> list[str]:
    if not rows:
        return []
    columns = heading.count("|") + 1 + first.count("|") + 1
    return [f"\n### {title}", f"| {first} | {heading} |", "|---" * columns + "|", *rows]


def _by_condition(title: str, found: Found) -> list[str]:
    keys = dict.fromkeys(key for by_key in found.values() for key in by_key)
    rows = [
        f"| {key} | {engine} | {figures(by_key[key])} |"
        for key in keys
        for engine, by_key in found.items()
        if key in by_key
    ]
    return _table(title, "condition | engine", HEADING, rows)


def _by_voice(title: str, found: Found) -> list[str]:
    clean = {engine: by_key["clean"] for engine, by_key in found.items() if "clean" in by_key}
    voices = dict.fromkeys(one.voice for outcomes in clean.values() for one in outcomes)
    rows = []
    for voice in voices:
        for engine, outcomes in clean.items():
            own = [one for one in outcomes if one.voice == voice]
            name = f"{voice}{' (unseen)' if is_unseen(voice) else ''}"
            rows += [f"| {name} | {engine} | {figures(own)} |"] if own else []
    return _table(title, "voice | engine", HEADING, rows)


def _by_seen(title: str, found: Found) -> list[str]:
    rows = []
    for engine, by_key in found.items():
        for key in ("clean", "wind 10 dB", "pink 10 dB"):
            for unseen in (False, True):
                part = [one for one in by_key.get(key, ()) if is_unseen(one.voice) == unseen]
                name = f"{key}, {'unseen' if unseen else 'seen'}"
                rows += [f"| {name} | {engine} | {figures(part)} |"] if part else []
    return _table(title, "condition, voices | engine", HEADING, sorted(rows))


def _at_work(work: Path) -> list[str]:
    rows, takes = [], []
    for engine, found in _files(work, "work"):
        total = at_work.Counted()
        for kind, given in found.items():
            counted = at_work.Counted(**given)
            rows.append(f"| {kind} | {engine} | {counted} |")
            total = at_work.added(total, counted)
            if counted.words:
                takes.append(f"- {engine}, {kind}: {'; '.join(counted.words[:12])}")
        if total.minutes:
            rows.append(f"| **all** | {engine} | {total} |")
    told = _table("Sound without callouts, at work", "kind | engine", at_work.HEADING, rows)
    return [*told, *(["", "Taken (at most 12 of a kind, confidence):", *takes] if takes else [])]


def _memory(work: Path) -> list[str]:
    rows = [f"| {engine} | {mib:.0f} |" for engine, mib in _files(work, "memory")]
    return _table("Peak memory of a process that hears", "engine", "MiB", rows)


def _risk(name: str, found: Found, pictures: Path | None) -> list[str]:
    """Clean alone, and all the conditions together in which every engine was heard."""
    if not found:
        return []
    first, *others = found.values()
    shared = [key for key in first if all(key in by_key for by_key in others)]
    who = "people" if name == "people" else "synthetic voices"
    told: list[str] = []
    for what, keys in (("clean", shared[:1]), ("noise", shared)):
        if not keys or (what == "noise" and len(keys) < 2):
            continue
        named = {
            engine: [one for key in keys for one in by_key[key]] for engine, by_key in found.items()
        }
        title = f"{who}: {', '.join(keys)}"
        told += [f"\n### Risk, {title} (shares of all said)", risk.table(named)]
        if pictures is not None:
            risk.draw(named, title, pictures / f"risk-{name}-{what}.png")
    return told
