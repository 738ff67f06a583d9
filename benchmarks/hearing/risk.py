"""The risk curve: what is accepted against what is accepted wrongly, as the threshold moves.

From outcomes alone; where a curve begins is where the engine itself gives nothing back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from benchmarks.hearing.outcomes import Outcome

LEASTS = (0.0, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95, 0.98, 0.99, 0.999)


def curve(outcomes: Sequence[Outcome], leasts: Sequence[float]) -> Iterator[tuple[float, ...]]:
    """For each least confidence: it, the share accepted, the share wrong but accepted."""
    for least in leasts:
        taken = [one for one in outcomes if one.accepted(least)]
        wrong = sum(not one.right for one in taken)
        yield least, len(taken) / len(outcomes), wrong / len(outcomes)


def table(named: Mapping[str, Sequence[Outcome]]) -> str:
    """One row for each threshold: accepted and wrong of all, for each engine."""
    rows = [
        "| least confidence | " + " | ".join(f"{name}: accepted, wrong" for name in named) + " |",
        "|---" * (len(named) + 1) + "|",
    ]
    points = {name: list(curve(outcomes, LEASTS)) for name, outcomes in named.items()}
    for at, least in enumerate(LEASTS):
        cells = [
            f"{100 * points[name][at][1]:.1f} %, {100 * points[name][at][2]:.2f} %"
            for name in named
        ]
        rows.append(f"| {least} | {' | '.join(cells)} |")
    return "\n".join(rows)


def draw(named: Mapping[str, Sequence[Outcome]], title: str, path: Path) -> None:
    """The curves as a PNG, every confidence that occurs a point."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(6.4, 4.4), layout="constrained")
    for name, outcomes in named.items():
        leasts = sorted({0.0, 1.0, *(one.confidence for one in outcomes)})
        points = list(curve(outcomes, leasts))
        axes.plot([100 * p[1] for p in points], [100 * p[2] for p in points], label=name)
        (now,) = curve(outcomes, [0.5])
        axes.plot(100 * now[1], 100 * now[2], "o", color=axes.lines[-1].get_color())
    axes.set(
        title=title,
        xlabel="accepted at once, % of all (dot: as shipped)",
        ylabel="wrong but accepted, % of all",
    )
    axes.set_ylim(bottom=0)
    axes.grid(alpha=0.3)
    axes.legend()
    path.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(path, dpi=130)
    pyplot.close(figure)
