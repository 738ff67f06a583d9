"""The tables of the page of all plots: their columns, with headings and decimals (None: text).

Names and words only; ``report`` puts them on the page.
"""

from __future__ import annotations

from callout.reports.pages.plot_page import RATES_A_YEAR, Columns

PLOTS: Columns = {
    "plot": ("plot", None),
    "treatment": ("treatment", None),
    "area_ha": ("area, ha", 3),
    "unit": ("measured in", None),
    "breast_height_m": ("at, m", 2),
    "site": ("site", None),
    "shape": ("shape", None),
    "established": ("since", None),
}
SITE_RATES: Columns = {
    "from_census": ("from", None),
    "to_census": ("to", None),
    "plots": ("plots", 0),
    **RATES_A_YEAR,
}
PERIODS: Columns = {
    "years": ("years", None),
    "stems": ("stems", 0),
    "diameter_cm_year": ("growth cm/year", 3),
    "plots": ("plots", 0),
    "anomaly_cm_year": ("off the mean", 3),
    "low": ("95 % from", 3),
    "high": ("to", 3),
    "p_corrected": ("p, corrected", 3),
    "judged": ("period was", None),
    "why": ("", None),
}
HEIGHTS: Columns = {
    "plot": ("plot", None),
    "census": ("census", None),
    "as_measured_m2": ("basal area as measured, m²", 4),
    "at_one_height_m2": ("at one height, m²", 4),
    "change_percent": ("change %", 2),
    "change_low_percent": ("95 % from", 2),
    "change_high_percent": ("to", 2),
}
SITE_GROWTH: Columns = {
    "from_census": ("from", None),
    "to_census": ("to", None),
    "plots": ("plots", 0),
    "mean": ("diameter cm/year", 3),
    "low": ("95 % from", 3),
    "high": ("to", 3),
    "why": ("", None),
}
SITE_CARBON: Columns = {
    "census": ("census", None),
    "plots": ("plots", 0),
    "mean_t_ha": ("carbon Mg C/ha", 1),
    "low_t_ha": ("95 % from", 1),
    "high_t_ha": ("to", 1),
    "why": ("", None),
}
FLUXES: Columns = {
    "plot": ("plot", None),
    "from_census": ("from", None),
    "to_census": ("to", None),
    "pool": ("of", None),
    "growth": ("growth", 3),
    "ingrowth": ("ingrowth", 3),
    "mortality": ("mortality", 3),
    "cut": ("cut", 3),
    "not_followed": ("not followed", 3),
    "scope": ("area or smallest size", 3),
    "net": ("net", 3),
    "why": ("", None),
}
POOLS = {"basal_area_m2": "basal area, m²", "carbon_t": "carbon, Mg (t)"}  # as read
PARTS: Columns = {
    "plot": ("plot", None),
    "census": ("census", None),
    "deviation_percent": ("deviation, %", 1),
    "reading": ("reading", 2),
    "large": ("large errors", 2),
    "rounding": ("rounding", 2),
    "crew": ("crew", 2),
    "taper": ("height", 2),
    "tree": ("single trees", 2),
    "equation": ("equations", 2),
}
MEANS: Columns = {
    "treatment": ("treatment", None),
    "period": ("period", None),
    "plots": ("plots", 0),
    "mean": ("mean", 2),
    "low": ("95 % from", 2),
    "high": ("to", 2),
}
EFFECTS: Columns = {
    "treatment": ("treatment", None),
    "design": ("compared by", None),
    "plots": ("plots", 0),
    "control_plots": ("control plots", 0),
    "effect": ("effect", 2),
    "low": ("95 % from", 2),
    "high": ("to", 2),
    "freedom": ("degrees of freedom", 0),
    "told": ("in words", None),
}
CLIMATE: Columns = {
    "group": ("of", None),
    "figure": ("climate figure", None),
    "season": ("season", None),
    "lag": ("years before", 0),
    "n": ("periods", 0),
    "r": ("r", 2),
    "low": ("95 % from", 2),
    "high": ("to", 2),
    "p_corrected": ("p, corrected", 3),
    "told": ("in words", None),
}

VISITS: Columns = {
    "plot": ("plot", None),
    "label": ("census", None),
    "first_day": ("from", None),
    "last_day": ("to", None),
    "measured": ("measured", 0),
    "dead": ("dead", 0),
    "cut": ("cut", 0),
    "lost": ("not found", 0),
    "who": ("called by", None),
}
