"""The office's page over HTTP: for this machine and whoever knows its address, and nobody else.

A WSGI application. The address holds a token; no other host is named or asked, nothing is kept by
the browser, and what a survey says is text.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Callable, Iterable
from typing import Any
from urllib.parse import parse_qs

from callout.core.errors import CalloutError
from callout.office.asked import MeanwhileError, asked_in
from callout.office.desk import LISTS, Desk
from callout.office.states import States
from callout.reports.templating import beside, rendered

Environ = dict[str, Any]
Start = Callable[[str, list[tuple[str, str]]], object]
Answer = tuple[str, str, bytes]
"""Status, type, body."""

MOST_ASKED_BYTES = 16_384
_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "media-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = [
    ("Content-Security-Policy", _POLICY),
    ("Cache-Control", "no-store"),
    ("Referrer-Policy", "no-referrer"),
    ("X-Content-Type-Options", "nosniff"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
]
_NOWHERE: Answer = ("404 Not Found", "text/plain", b"There is nothing here.\n")
TITLES = {
    "left": "Left to measure",
    "twice": "Measured twice",
    "flagged": "Flagged",
    "growth": "Growth",
    "notes": "Notes",
    "ruled": "Ruled on",
    "all": "All readings",
    "gone": "Superseded too",
    "states": "Surveys",
}


class OfficeApp:
    """Serves ``desk`` at ``/TOKEN/``; ``hosts`` are the names it may be called by."""

    def __init__(self, desk: Desk, states: States, token: str, hosts: Iterable[str]) -> None:
        self._desk, self._states, self._token = desk, states, token
        self.hosts = frozenset(hosts)

    def __call__(self, environ: Environ, start: Start) -> list[bytes]:
        status, kind, body = self._answer(environ)
        start(status, [*_HEADERS, ("Content-Type", kind), ("Content-Length", str(len(body)))])
        return [body]

    def _answer(self, environ: Environ) -> Answer:
        # A page of another host could name this one, and be led here (DNS rebinding).
        if environ.get("HTTP_HOST") not in self.hosts:
            return _NOWHERE
        token, slash, rest = environ.get("PATH_INFO", "").lstrip("/").partition("/")
        known = hmac.compare_digest(token.encode("utf-8", "replace"), self._token.encode())
        if not known or not slash:
            return _NOWHERE
        try:
            if environ["REQUEST_METHOD"] == "POST":
                return self._post(rest, environ)
            return self._get(rest, parse_qs(environ.get("QUERY_STRING", "")))
        except MeanwhileError as error:
            return _json("409 Conflict", {"error": str(error)})
        except CalloutError as error:
            return _json("400 Bad Request", {"error": _told(error)})

    def _get(self, rest: str, asked: dict[str, list[str]]) -> Answer:
        if rest == "":
            return "200 OK", "text/html; charset=utf-8", self._page().encode()
        if rest == "office.css":
            style = beside("common.css") + beside("office.css")
            return "200 OK", "text/css; charset=utf-8", style.encode()
        if rest == "office.js":
            script = beside("player.js") + beside("office.js")
            return "200 OK", "text/javascript; charset=utf-8", script.encode()
        if rest == "list":
            return self._list(asked)
        if rest == "counts":
            return self._counts()
        digest = rest.removeprefix("sound/")
        if digest != rest:
            return "200 OK", "audio/flac", self._desk.sound(digest)
        return _NOWHERE

    def _counts(self) -> Answer:
        """By list; ``running``: what is still being judged or verified is not among them."""
        running = not self._desk.judged or self._states.running
        told = {**self._desk.counts(), "states": self._states.told, "running": running}
        return _json("200 OK", told)

    def _list(self, asked: dict[str, list[str]]) -> Answer:
        show, find, plot = (asked.get(name, [""])[0] for name in ("show", "find", "plot"))
        start = asked.get("from", ["0"])[0]
        if show == "states":
            told = {"html": self._states.html(), "count": self._states.told, "next": 0}
            return _json("200 OK", told)
        at = int(start) if start.isascii() and start.isdecimal() and len(start) < 10 else 0
        found = self._desk.listed(show, find[:200], plot, at)
        told = {"html": found.html, "count": found.count, "next": found.following}
        return _json("200 OK", told)

    def _post(self, rest: str, environ: Environ) -> Answer:
        own = f"http://{environ['HTTP_HOST']}"
        kind = environ.get("CONTENT_TYPE", "").partition(";")[0].strip()
        if environ.get("HTTP_ORIGIN", own) != own or kind != "application/json":
            return _NOWHERE
        if rest == "verify":
            self._states.verify()
            return _json("200 OK", {})
        if rest != "rule":
            return _NOWHERE
        data = environ["wsgi.input"].read(MOST_ASKED_BYTES)
        asked, accept = asked_in(data)
        made = self._desk.rule(asked, accept)
        written = [{"name": one.name, "seen": one.seen} for one in made]
        return _json("200 OK", {"told": "; ".join(one.told for one in made), "written": written})

    def _page(self) -> str:
        titles = {show: TITLES[show] for show in (*LISTS, "states")}
        return rendered("office.html", desk=self._desk, titles=titles)


def _told(error: CalloutError) -> str:
    if error.saying.key == "as-is":
        return str(error)
    from callout.wording.language_files import english  # slow to import

    return english().part(error.saying)


def _json(status: str, value: dict[str, Any]) -> Answer:
    return status, "application/json", json.dumps(value, ensure_ascii=False).encode()
