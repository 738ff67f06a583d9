"""How the figures were made, in words for a manager: methods, sources, and limits.

The words follow the settings that were used. No figures and no markup here.
"""

from __future__ import annotations

from collections import Counter

from callout.reports.pages.analysis import Analysis
from callout.reports.stand.mass.biomass import CARBON_FRACTIONS


def methods(analysis: Analysis) -> list[str]:
    """One or two sentences per method, with its source."""
    settings = analysis.settings
    draws = settings.draws
    return [
        *_heights(analysis),
        "A census is a range of days, found from the visits: days close together, or of different "
        "stems, are one census. A figure goes by what held in the plot on the day: area, "
        "treatment, graduation, rounding.",
        "A reading that was rounded down lacks half a graduation on average: figures add it.",
        "Basal area is the stem's cross-section, π d² / 4. Quadratic mean diameter is the root of "
        "the mean squared diameter. An inch is exactly 2.54 cm.",
        "Stand density index: N (QMD / 25.4 cm)^1.605 a hectare, the same as N (QMD / 10 in)^1.605 "
        "an acre (Reineke 1933).",
        "Growth is the change between two measurements of the same stem at the same height, over "
        "years of 365.25 days. Shrinkage stays in. Where years were not measured singly, their "
        "growth is spread evenly over them and drawn as one line.",
        "Intervals of means are Student's t: over stems within a plot (none below five), over "
        "plots for a site (none below three), where species differ in number by leaving out each "
        "plot in turn. A period between two censuses is called good or bad only where three plots "
        "and five periods or more say so by a test, corrected for the number of periods "
        "(Holm), at 2.5 %. "
        "Growth over five years is one figure, for a climate too.",
        "Climate: growth and each figure, by season and of the year before too, both less their "
        "straight trend; corrected for how many were tried (Holm), else told as exploratory.",
        "Treatments: the plot is the unit, in a mixed model with plots and their shifts as random "
        "effects (statsmodels); before and after against control where there is a before. Degrees "
        "of freedom are plots less two.",
        "Components of change add up exactly: growth of survivors + new stems + found again + what "
        "a change of area or smallest size brought − died − cut − not found − not measured = net "
        "change. A stem is new where no earlier record of it is known.",
        "Mortality is (ln N − ln S) / t and recruitment (ln N2 − ln S) / t a year (as in forest "
        "censuses by R. Condit and co-workers), intervals over stems by Wilson's score (1927), "
        "over plots by leaving out each in turn. Deaths found after a skipped census are shared "
        "among the intervals they may lie in, by the plot's own rates (Turnbull 1976). Stems cut, "
        "not found or not measured are left out.",
        f"Biomass: {settings.equations.source}. {settings.equations.standing}. It counts "
        f"{settings.equations.pool}.",
        f"Carbon is {settings.carbon.fraction:g} of dry mass"
        f"{_fraction_source(settings.carbon.fraction)}; CO2 is 44/12 of carbon.",
        f"Intervals of carbon hold {draws.level * 100:g} % of {draws.draws} random draws (stream "
        f"{draws.stream}). In them: readings ({analysis.error.told}; {analysis.error.source}); "
        "rounding to the graduation; an offset of each crew through a census (standard deviation "
        f"{draws.error.crew_cm:g} cm, an assumption); the step to the equations' height; and what "
        f"departs from the equation, whose curve is taken for the {draws.equation_gives}: "
        f"{100 * draws.equation_share:g} % of its variance is shared by all trees of a group, the "
        "rest is each tree's own. That share is an assumption: the residuals come from points made "
        "of published equations (Jenkins and others 2003), so much of them lies between equations, "
        "and the choice of the equation is the largest error of all (Chave and others 2004). "
        "The table of parts says what is how large. The interval called measuring alone takes the "
        "equations for right: by it censuses and plots under the same equations are held against "
        "each other; the whole interval is for carbon itself.",
    ]


# Authors, titles, volumes and pages as public bibliographies have them; INT-327 by its first page.
_PAPERS = (
    "Chave, J., Condit, R., Aguilar, S., Hernandez, A., Lao, S. and Perez, R. 2004. Error "
    "propagation and scaling for tropical forest biomass estimates. Philosophical Transactions of "
    "the Royal Society B 359: 409–420. doi:10.1098/rstb.2003.1425",
    "Holm, S. 1979. A simple sequentially rejective multiple test procedure. Scandinavian Journal "
    "of Statistics 6: 65–70.",
    "Reineke, L. H. 1933. Perfecting a stand-density index for even-aged forests. Journal of "
    "Agricultural Research 46: 627–638.",
    "Seabold, S. and Perktold, J. 2010. statsmodels: econometric and statistical modeling with "
    "Python. Proceedings of the 9th Python in Science Conference.",
    "Turnbull, B. W. 1976. The empirical distribution function with arbitrarily grouped, censored "
    "and truncated data. Journal of the Royal Statistical Society B 38: 290–295.",
    "Van Hooser, D. D. and Chojnacky, D. C. 1984. Tree diameter measurements at English and metric "
    "standard heights: a comparison. USDA Forest Service Research Paper INT-327.",
    "Wilson, E. B. 1927. Probable inference, the law of succession, and statistical inference. "
    "Journal of the American Statistical Association 22: 209–212.",
)


def references(analysis: Analysis) -> list[str]:
    """The papers cited by the methods, with those of the equations that were used."""
    return sorted([*_PAPERS, f"{analysis.settings.equations.source}."])


def _heights(analysis: Analysis) -> list[str]:
    settings, taper = analysis.settings, analysis.settings.carbon.taper
    known = Counter(analysis.heights.values())
    if len(known) > 1:
        each = ", ".join(f"{height:.2f} m in {count}" for height, count in sorted(known.items()))
        told = [
            "Stand figures of each plot go by diameters at the height at which most of its stems "
            f"were measured: {each} of {len(analysis.heights)} plots. "
        ]
    elif known:
        told = [f"Stand figures go by diameters at {next(iter(known)):.2f} m above ground. "]
    else:
        told = ["Nobody told at what height stems were measured. "]
    told[0] += (
        f"{taper.told} Its error is taken as {settings.draws.taper_sd:g} %; its effect is "
        "shown in the table of heights. What was measured is unchanged."
        if analysis.converted
        else "All were measured there: none is converted."
        if known
        else "None is converted."
    )
    equations = settings.equations.breast_height_m
    if any(abs(equations - height) > 0.005 for height in known):
        told.append(
            f"Biomass equations take diameters at {equations:.2f} m: diameters are brought there. "
            + ("The step is the same." if analysis.converted else taper.told)
        )
    return told


def _fraction_source(fraction: float) -> str:
    known = CARBON_FRACTIONS.get(f"{fraction:g}")
    return f" ({known})" if known else " (set by the reader)"


def limits(analysis: Analysis) -> list[str]:
    """What these figures are not."""
    return [
        f"Not counted: {analysis.settings.equations.not_counted}.",
        "A plot's interval says nothing of the forest about it: that of all plots does. Intervals "
        "do not hold wrong species, or trees that nobody found.",
        "This is no substitute for a verified inventory, and no basis for carbon credits.",
        "A correlation with climate over few years is weak evidence and shows no cause.",
    ]
