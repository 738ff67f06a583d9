"""Ecological Metadata Language 2.2.0 of a data set: who, what, where, when, how, licence.

Elements are in the order of its schema. Unknown ones are left out, unless the schema requires them.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from xml.sax.saxutils import escape, quoteattr

from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.metadata import About, Contributor
from callout.reports.exchange.scientific import Named

WHOLE = "calloutAbout"
_NAMESPACE = "https://eml.ecoinformatics.org/eml-2.2.0"


def eml(about: About, data: Dataset, scientific: Named) -> str:
    """The document's text."""
    package = quoteattr(about.identifier or f"{about.title} {about.created}".strip() or "data")
    whole = escape(json.dumps(about.plain, ensure_ascii=True))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<eml:eml xmlns:eml="{_NAMESPACE}" packageId={package} system="local">\n'
        f"<dataset>\n{''.join(_dataset(about, data, scientific))}</dataset>\n"
        f"<additionalMetadata><metadata><{WHOLE}>{whole}</{WHOLE}></metadata>"
        "</additionalMetadata>\n</eml:eml>\n"
    )


def _tag(name: str, text: str) -> str:
    return f"<{name}>{escape(text)}</{name}>" if text else ""


def _para(name: str, text: str) -> str:
    return f"<{name}><para>{escape(text)}</para></{name}>\n"


def _dataset(about: About, data: Dataset, scientific: Named) -> Iterator[str]:
    people = about.people
    creators = [one for one in people if one.role == "author"] or list(people)
    yield f"{_tag('title', about.title or 'Tree measurements')}\n"
    for one in creators:
        yield f"<creator>{_party(one)}</creator>\n"
    for one in people:
        if one not in creators:
            yield f"<associatedParty>{_party(one)}{_tag('role', one.role)}</associatedParty>\n"
    yield _tag("pubDate", about.created[:10])
    yield _para("abstract", about.description or about.title or "Tree measurements")
    if about.keywords:
        words = "".join(_tag("keyword", word) for word in about.keywords)
        yield f"<keywordSet>{words}</keywordSet>\n"
    yield _para("intellectualRights", about.licence or "not told")
    yield f"<coverage>{''.join(_coverage(data, scientific))}</coverage>\n"
    yield f"<contact>{_party(creators[0])}</contact>\n"
    if about.methods:
        yield (
            "<methods><methodStep><description><para>"
            f"{escape(about.methods)}</para></description></methodStep></methods>\n"
        )


def _party(one: Contributor) -> str:
    if one.name:
        name = _tag("organizationName", one.name)
    else:
        given, family = _tag("givenName", one.given), _tag("surName", one.family or one.given)
        name = f"<individualName>{given}{family}</individualName>"
        name += _tag("organizationName", one.organization)
    mail = _tag("electronicMailAddress", one.email)
    orcid = f'<userId directory="https://orcid.org">{escape(one.orcid)}</userId>'
    return name + mail + (orcid if one.orcid else "")


def _coverage(data: Dataset, scientific: Named) -> Iterator[str]:
    if "latitude" in data.plots.columns:
        rows = zip(data.plots["plot"], data.plots["latitude"], data.plots["longitude"], strict=True)
        for plot, north, east in rows:
            if north:
                yield (
                    f"<geographicCoverage>{_tag('geographicDescription', f'plot {plot}')}"
                    f"<boundingCoordinates>{_tag('westBoundingCoordinate', east)}"
                    f"{_tag('eastBoundingCoordinate', east)}"
                    f"{_tag('northBoundingCoordinate', north)}"
                    f"{_tag('southBoundingCoordinate', north)}</boundingCoordinates>"
                    "</geographicCoverage>\n"
                )
    dates = data.measurements["date"]
    if len(dates):
        first, last = (
            f"<{name}><calendarDate>{str(day)[:10]}</calendarDate></{name}>"
            for name, day in (("beginDate", dates.min()), ("endDate", dates.max()))
        )
        yield f"<temporalCoverage><rangeOfDates>{first}{last}</rangeOfDates></temporalCoverage>\n"
    names = sorted({scientific(str(name)) for name in data.measurements["species"].unique()})
    taxa = "".join(
        f"<taxonomicClassification><taxonRankName>{'species' if ' ' in name else 'genus'}"
        f"</taxonRankName>{_tag('taxonRankValue', name)}</taxonomicClassification>"
        for name in names
        if name
    )
    if taxa:
        yield f"<taxonomicCoverage>{taxa}</taxonomicCoverage>\n"
