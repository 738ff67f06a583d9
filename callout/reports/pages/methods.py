"""How the figures were made, in words for a manager: methods, sources, and what they are not.

The words follow the settings that were used. No figures and no markup here.
"""

from __future__ import annotations

from callout.reports.pages.analysis import Analysis
from callout.reports.stand.biomass import CARBON_FRACTIONS


def methods(analysis: Analysis) -> list[str]:
    """One sentence or two a method, with its source."""
    settings = analysis.settings
    draws, taper = settings.draws, settings.carbon.taper
    return [
        f"Diameters are brought to {settings.basis_m:.2f} m above ground for stand figures. "
        f"{taper.told} Its effect is shown in the table of heights. "
        "What was measured is unchanged.",
        "Basal area is the stem's cross-section, π d² / 4. Quadratic mean diameter is the root of "
        "the mean squared diameter. An inch is exactly 2.54 cm.",
        "Stand density index: N (QMD / 25.4 cm)^1.605 a hectare, the same as N (QMD / 10 in)^1.605 "
        "an acre (Reineke 1933).",
        "Growth is the change between two measurements of the same stem at the same height, over "
        "years of 365.25 days. Shrinkage stays in. Where years were not measured singly, their "
        "growth is spread evenly over them and drawn as one line.",
        "A period lies between two censuses. It is called good or bad where its mean growth lies "
        "one standard deviation of the periods from their mean, with five periods or more. Growth "
        "over five years is one figure, for a climate too: years inside it cannot be told apart.",
        "Components of change add up exactly: growth of survivors + new stems + found again − died "
        "− cut − not found − not measured = net change. A stem is new where no earlier record of "
        "it is known.",
        "Mortality is (ln N − ln S) / t and recruitment (ln N2 − ln S) / t a year (as in forest "
        "censuses by R. Condit and co-workers). Stems cut, not found or not measured are left out.",
        f"Biomass: {settings.equations.source}. {settings.equations.standing}. It counts "
        f"{settings.equations.pool}.",
        f"Carbon is {settings.carbon.fraction:g} of dry mass"
        f"{_fraction_source(settings.carbon.fraction)}; CO2 is 44/12 of carbon.",
        f"Intervals of carbon hold {draws.level * 100:g} % of {draws.draws} random draws of "
        f"measurement error ({analysis.error.source}), rounding to the graduation (as each plot "
        f"rounds; {draws.rounding} where that is not told), and each tree's departure from its "
        f"equation, whose curve is taken for the {draws.equation_gives}. Random stream "
        f"{draws.stream}.",
    ]


def _fraction_source(fraction: float) -> str:
    known = CARBON_FRACTIONS.get(f"{fraction:g}")
    return f" ({known})" if known else " (set by the reader)"


def limits(analysis: Analysis) -> list[str]:
    """What these figures are not."""
    return [
        f"Not counted: {analysis.settings.equations.not_counted}.",
        "The intervals do not hold the choice of plots, wrong equations or wrong species. Few "
        "plots say little of a forest: plots, not trees, are the replicates of a treatment.",
        "This is no substitute for a verified inventory, and no basis for carbon credits.",
        "A correlation with climate over few years is weak evidence and shows no cause.",
    ]
