"""Asks a built site's search what newcomers ask: the right page must be among the first three.

Reads the index that the browser reads, and ranks it by lunr as the browser does; titles
count more than texts there as here. Usage: ask_site.py SITE/search/search_index.json
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from lunr import lunr

ASKED = {  # what somebody types, and the page that helps; invented, by the tasks of a first season
    "my tag came off": "how-to/lost-tag.html",
    "two of us measured the same tree": "how-to/measured-twice.html",
    "it does not hear me": "how-to/not-heard.html",
    "undo a wrong value": "how-to/wrong-value.html",
    "connect a bluetooth tape": "how-to/new-tape.html",
    "somebody doubts a value": "how-to/dispute.html",
    "tree is dead": "how-to/dead-or-new.html",
    "start the next visit": "how-to/next-visit.html",
    "battery power loss": "how-to/pocket-computer.html",
    "send data to the office spreadsheet": "how-to/office-data.html",
    "another language": "how-to/new-language.html",
    "set up a crew": "how-to/new-crew.html",
    "where do I start, first day": "first-day.html",
    "does it work on my laptop": "how-to/this-machine.html",
    "does it run on windows": "systems.html",
}
FIRST = 3


def pages(index: object, question: str) -> list[str]:
    """The pages found, best first, each once."""
    found = (result["ref"].partition("#")[0] for result in index.search(question))  # type: ignore[attr-defined]
    return list(dict.fromkeys(found))


def main(path: Path) -> int:
    """Each question with its place; 1 where one is not among the first three."""
    docs = json.loads(path.read_text(encoding="utf-8"))["docs"]
    fields = [{"field_name": "title", "boost": 10}, "text"]
    index = lunr(ref="location", fields=fields, documents=docs, languages="en")
    missed = 0
    for question, wanted in ASKED.items():
        found = pages(index, question.replace(",", ""))
        place = found.index(wanted) + 1 if wanted in found else None
        missed += place is None or place > FIRST
        print(f"{place or '-':>3}  {question!r}: {', '.join(found[:FIRST])}")
    print(f"{len(ASKED) - missed} of {len(ASKED)} among the first {FIRST}")
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
