"""How to cite the data, as a ``CITATION.cff`` (Citation File Format 1.2.0). Words only."""

from __future__ import annotations

import json
import re

from callout.reports.exchange.metadata import About, Contributor

CITATION_FILE = "CITATION.cff"
_SPDX = re.compile(r"[A-Za-z0-9.+-]+")  # the format takes identifiers only, no sentence
_MESSAGE = "If you use these data, please cite them as below."


def citation(about: About) -> str:
    """The file's text: YAML with all texts quoted as JSON, which is valid YAML."""
    lines = [
        "cff-version: 1.2.0",
        f"message: {_quoted(_MESSAGE)}",
        "type: dataset",
        f"title: {_quoted(about.title or 'Tree measurements')}",
        "authors:",
    ]
    authors = [one for one in about.people if one.role == "author"] or list(about.people)
    for one in authors:
        lines += _person(one)
    for key, text in (
        ("version", about.version),
        ("date-released", about.created[:10]),
        ("license", about.licence if _SPDX.fullmatch(about.licence) else ""),
        ("abstract", about.description),
    ):
        if text:
            lines.append(f"{key}: {_quoted(text)}")
    if about.identifier.startswith("10."):
        lines.append(f"doi: {_quoted(about.identifier)}")
    if about.keywords:
        lines.append("keywords:")
        lines += [f"  - {_quoted(word)}" for word in about.keywords]
    return "\n".join(lines) + "\n"


def _person(one: Contributor) -> list[str]:
    if one.name:
        told = [("name", one.name), ("email", one.email)]
    else:
        told = [
            ("given-names", one.given),
            ("family-names", one.family),
            ("email", one.email),
            ("affiliation", one.organization),
            ("orcid", one.orcid),
        ]
    rows = [f"{key}: {_quoted(text)}" for key, text in told if text]
    return [f"  - {rows[0]}", *(f"    {row}" for row in rows[1:])]


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
