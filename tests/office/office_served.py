"""The office's page of a site, served as ``callout office`` serves it; asked as browsers do."""

from __future__ import annotations

import json
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from waitress.server import create_server

from callout.crews.place import read_place
from callout.office.desk import Desk
from callout.office.states import States
from callout.office.web import OfficeApp

TOKEN = "invented-token"


class Client:
    """Asks the page at ``address`` as a browser does."""

    def __init__(self, address: str) -> None:
        self.address = address

    def ask(
        self, rest: str, body: object = None, headers: dict[str, str] | None = None
    ) -> tuple[int, Any]:
        """Status and what was answered, JSON where it is."""
        data = None if body is None else json.dumps(body).encode()
        kind = {} if body is None else {"Content-Type": "application/json"}
        asked = urllib.request.Request(self.address + rest, data, {**kind, **(headers or {})})
        try:
            with urllib.request.urlopen(asked) as answer:
                return answer.status, json.loads(answer.read())
        except urllib.error.HTTPError as error:
            text = error.read()
            return error.code, json.loads(text) if text.startswith(b"{") else text

    def counts(self, wanted: str = "growth") -> dict[str, Any]:
        """The counts, once what is ``wanted`` of them was judged; or verified, by "states"."""
        until = time.monotonic() + 300
        while True:
            told = self.ask("counts")[1]
            if told.get(wanted, "…") != "…":
                return dict(told)
            assert time.monotonic() < until
            time.sleep(0.1)

    def cards(self, show: str) -> str:
        """The cards of a list as HTML."""
        return str(self.ask(f"list?show={show}")[1]["html"])


class Served(Client):
    """The page of a site on a port of its own, as ``callout office`` serves it."""

    def __init__(self, site: Path) -> None:
        self.desk, self.site = Desk(site), site
        app = OfficeApp(self.desk, States(site), TOKEN, ())
        self._server = create_server(app, host="127.0.0.1", port=0, threads=8, ident=None)
        self.host = f"127.0.0.1:{self._server.effective_port}"
        app.hosts = frozenset([self.host])
        super().__init__(f"http://{self.host}/{TOKEN}/")
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """In the server's own thread, which ends with the last channel that a browser left open."""
        self._server.task_dispatcher.shutdown()
        self._server.trigger.pull_trigger(self._closed)
        self._thread.join(10)
        self.desk.close()

    def _closed(self) -> None:
        for channel in list(self._server.active_channels.values()):
            channel.close()
        self._server.close()


def written(served: Served) -> list[str]:
    """The rulings that the site's journals hold, told."""
    return [item.ruling.told for item in read_place(served.site).standing if item.ruling]
