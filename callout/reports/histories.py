"""The history of a survey's or site's plots as tables, and rows as they were on their day.

Columns are those of ``stand.history``: as texts for exports, as numbers for computations. The
history itself is read in ``journal.plot_history``.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.crews.site import Site, is_site, site_folders
from callout.journal.folder import SurveyFolder, open_survey
from callout.reports.stand.history import HISTORY_COLUMNS, NUMBERS, TEXTS, PlotFacts
from callout.survey.plot_history import Since, TellsCensus, plot_history, told_censuses

_BY_DAY = ("graduation", "rounding")


def survey_since(path: Path) -> tuple[list[Since], list[TellsCensus]]:
    """The plot history of the survey or site at ``path``, and the named censuses.

    With several recorders, the newest survey's history of a plot counts. Raises OperatorError for
    one that cannot be used.
    """
    found: dict[str, list[Since]] = {}
    censuses: dict[str, TellsCensus] = {}
    for folder in settled_folders(path):
        config = folder.config()
        with folder.reading() as reader:
            plots = list(reader.plots())
        rows = plot_history(config, plots)
        for plot in {row.plot for row in rows}:
            found[plot] = [row for row in rows if row.plot == plot]
        censuses.update({one.name: one for one in told_censuses(config)})
    return [row for plot in sorted(found) for row in found[plot]], list(censuses.values())


def settled_folders(path: Path) -> list[SurveyFolder]:
    """The survey, or the recorders' of a site that have settings, the newest last."""
    if not is_site(path):
        return [open_survey(path)]
    folders = [one for one in site_folders(Site(path)) if one.settings.is_file()]
    return sorted(folders, key=_begun)


def _begun(folder: SurveyFolder) -> str:
    with folder.reading() as reader:
        settings = reader.latest("settings")
    return settings.at if settings else ""


def history_texts(rows: Iterable[Since]) -> pd.DataFrame:
    """``rows`` as a table of texts, HISTORY_COLUMNS."""
    table = [{"plot": row.plot, "from_day": row.day.isoformat(), **row.told} for row in rows]
    frame = pd.DataFrame(table, columns=list(HISTORY_COLUMNS)).astype(object)
    return frame.where(frame.notna(), "")


def history_of(table: pd.DataFrame | None) -> pd.DataFrame | None:
    """``history_texts`` parsed for computations; None for None.

    Raises OperatorError for a cell that is not a day or a number.
    """
    if table is None or table.empty:
        return None
    frame = table.reindex(columns=list(HISTORY_COLUMNS)).astype(object)
    frame = frame.where(frame.notna(), "")
    try:
        for name in NUMBERS:
            frame[name] = pd.to_numeric(frame[name].replace("", np.nan)).astype("float64")
        frame["from_day"] = pd.to_datetime(frame["from_day"], format="%Y-%m-%d")
    except (ValueError, TypeError) as error:
        raise OperatorError(f"the plots' history cannot be used: {error}") from None
    return frame


def since_of(table: pd.DataFrame) -> list[Since]:
    """The rows of ``history_texts``. Raises OperatorError for a cell that is not a day."""
    found = []
    for row in table.astype(str).to_dict("records"):
        try:
            day = date.fromisoformat(row["from_day"])
        except ValueError:
            raise OperatorError(
                f"history of {row['plot']}: {row['from_day']!r} is no day"
            ) from None
        told = {name: row[name] for name in (*NUMBERS, *TEXTS) if row.get(name)}
        found.append(Since(row["plot"], day, told))
    return found


def on_their_day(
    measurements: pd.DataFrame,
    plots: pd.DataFrame,
    history: pd.DataFrame | None,
    censuses: Iterable[TellsCensus] = (),
) -> pd.DataFrame:
    """``measurements`` with the facts of each row's day from the history, and ``census_told``.

    A survey's settings hold for today: graduation and rounding of its own readings, and the height
    of a roster's, are taken from the history where it has them.
    """
    rows = measurements
    if history is not None:
        facts = PlotFacts(plots, history).on(rows["plot"], rows["date"])
        told = {
            name: set(history.loc[_told(history[name]), "plot"])
            for name in (*_BY_DAY, "breast_height_m")
        }
        own = (rows["source"] == "callout").to_numpy(dtype=bool)
        for name in _BY_DAY:
            if name in rows.columns:
                by_day = own & rows["plot"].isin(told[name]).to_numpy(dtype=bool)
                cells = rows[name].astype(object).where(~by_day, facts[name])
                rows = rows.assign(**{name: cells})
        now = PlotFacts(plots).on(rows["plot"], rows["date"])["breast_height_m"]
        height = rows["measured_height_m"]
        by_day = ~own & rows["plot"].isin(told["breast_height_m"]) & (height == now)
        rows = rows.assign(measured_height_m=height.where(~by_day, facts["breast_height_m"]))
    for one in censuses:
        inside = rows["date"].between(
            pd.Timestamp(one.first), pd.Timestamp(one.last) + pd.Timedelta("1D"), inclusive="left"
        )
        named = rows["census_told"] if "census_told" in rows.columns else ""
        rows = rows.assign(census_told=np.where(inside, one.name, named))
    return rows


def _told(column: pd.Series) -> pd.Series:
    return column.notna() & (column.astype(str) != "")
