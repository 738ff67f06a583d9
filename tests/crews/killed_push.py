"""A push in a process of its own, to be killed: ``python killed_push.py FOLDER ADDRESS SCHEMA``.

Tells on standard output when it has read the survey and begins to send, and after each entry that
is there. Batches of one, so that a kill finds it at work; everything else is as in the command.
"""

from __future__ import annotations

import sys
from pathlib import Path

from callout.crews.merge import parts_of
from callout.crews.office_database import open_office
from callout.crews.push import push


def main(folder: str, address: str, schema: str) -> None:
    parts = parts_of(Path(folder), lambda _: [])  # the tables were checked once by the test
    print("sending", flush=True)
    office = open_office(address, schema)
    for part in parts:
        push(office, part, "killed", lambda _: print("sent", flush=True), batch=1)
    office.close()
    print("done", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
