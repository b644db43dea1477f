"""The server: one page at a path nobody can guess, on the loopback, for this machine's own browser only.

A page of another origin reaches nothing: the host that is asked must be this server by number or as localhost (so
no other name can be bound to it), the origin likewise, and what changes something carries the path's secret in a
header and JSON as its type, which no form sends and no script of another origin may.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from http import HTTPStatus
from secrets import compare_digest
from typing import Any, Literal, cast

from tornado.httpserver import HTTPServer
from tornado.iostream import StreamClosedError
from tornado.locks import Condition
from tornado.web import Application, HTTPError, RequestHandler

from tapplan.cli.loopback.asked import BUSY, MALFORMED, DeskReply, NumberRequest, asked_of, refused
from tapplan.cli.loopback.board import NewsBoard
from tapplan.errors import UsageError

LOOPBACK = "127.0.0.1"
LARGEST_BODY = 64_000
BEAT_S = 10.0  # a browser that is gone is noticed by it
OWN_HEADER = "Tapplan-Token"
HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "same-origin",  # the path is a secret
    "X-Content-Type-Options": "nosniff",
}


@dataclass
class Door:
    """What the handlers share: the secret, the port, what is to be seen, where to ask; `ended` at the close."""

    token: str
    port: int
    board: NewsBoard
    ask: Callable[[NumberRequest], bool]
    news: Condition
    ended: bool = False

    @property
    def hosts(self) -> frozenset[str]:
        """The names by which this server may be asked."""
        named = {f"{name}:{self.port}" for name in (LOOPBACK, "localhost")}
        return frozenset(named | ({LOOPBACK, "localhost"} if self.port == 80 else set()))

    @property
    def origins(self) -> frozenset[str]:
        """The origins of its own pages."""
        return frozenset(f"http://{host}" for host in self.hosts)

    @property
    def home(self) -> str:
        """The path of the page."""
        return f"/{self.token}/"


class _Guarded(RequestHandler):
    """Every answer passes here: who asks, and at which path."""

    def initialize(self, door: Door) -> None:
        self.door = door

    def set_default_headers(self) -> None:
        for name, value in HEADERS.items():
            self.set_header(name, value)
        self.clear_header("Server")

    def prepare(self) -> None:
        origin = self.request.headers.get("Origin")
        if self.request.headers.get("Host", "") not in self.door.hosts:
            raise HTTPError(HTTPStatus.FORBIDDEN)
        if origin is not None and origin not in self.door.origins:
            raise HTTPError(HTTPStatus.FORBIDDEN)
        if not self.path_args or not compare_digest(self.path_args[0].encode(), self.door.token.encode()):
            raise HTTPError(HTTPStatus.NOT_FOUND)

    def compute_etag(self) -> None:
        """Nothing is kept by a browser."""

    def write_error(self, status_code: int, **_: Any) -> None:
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(f"tapplan: {status_code} {HTTPStatus(status_code).phrase.lower()}\n")

    def give_page(self, text: str | None) -> None:
        """A page, where it is there."""
        if text is None:
            raise HTTPError(HTTPStatus.NOT_FOUND)
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.finish(text)


class _Nothing(_Guarded):
    """All other paths."""

    def prepare(self) -> None:
        super().prepare()
        raise HTTPError(HTTPStatus.NOT_FOUND)


class _Home(_Guarded):
    def get(self, token: str) -> None:
        self.give_page(self.door.board.now.page)


class _Tried(_Guarded):
    def get(self, token: str, number: str) -> None:
        self.give_page(self.door.board.now.tried_page(int(number)))


class _Events(_Guarded):
    """Server-sent events: which page is the last one, and what is wrong with the file since."""

    async def get(self, token: str) -> None:
        self.set_header("Content-Type", "text/event-stream")
        told = ""
        try:
            while not self.door.ended:
                now = self._told()
                self.write(f"data: {now}\n\n" if now != told else ": still here\n\n")
                await self.flush()
                told = now
                if self._told() == told and not self.door.ended:
                    await self.door.news.wait(timeout=timedelta(seconds=BEAT_S))
        except StreamClosedError:
            return

    def _told(self) -> str:
        now = self.door.board.now
        return json.dumps({"page": now.number, "problem": now.problem})


class _Ask(_Guarded):
    """Numbers tried or written, on request of a page of this server only."""

    def prepare(self) -> None:
        super().prepare()
        headers = self.request.headers
        if headers.get("Origin") is None or not compare_digest(
            headers.get(OWN_HEADER, "").encode(), self.door.token.encode()
        ):
            raise HTTPError(HTTPStatus.FORBIDDEN)
        if headers.get("Content-Type", "") != "application/json":
            raise HTTPError(HTTPStatus.UNSUPPORTED_MEDIA_TYPE)

    async def post(self, token: str, what: str) -> None:
        try:
            asked = asked_of(cast(Literal["try", "write"], what), self.request.body)
        except UsageError as error:
            return self._reply(refused(MALFORMED, str(error)))
        if not self.door.ask(asked):
            return self._reply(refused(BUSY, "found tapplan at work on what was asked before; accepted: once more"))
        self._reply(await asyncio.wrap_future(asked.reply))
        return None

    def _reply(self, reply: DeskReply) -> None:
        self.set_status(reply.status)
        self.set_header("Content-Type", "application/json")
        self.finish(json.dumps(dict(reply.told)))


def application(door: Door) -> Application:
    """The paths that there are; everything else is not found."""
    shared = {"door": door}
    return Application(
        [
            (r"/([^/]+)/", _Home, shared),
            (r"/([^/]+)/tried/([0-9]{1,9})/", _Tried, shared),
            (r"/([^/]+)/events", _Events, shared),
            (r"/([^/]+)/(try|write)", _Ask, shared),
        ],
        default_handler_class=_Nothing,
        default_handler_args=shared,
        log_function=_untold,
    )


def served(door: Door) -> HTTPServer:
    """The server; it begins when it is given its socket."""
    return HTTPServer(application(door), max_body_size=LARGEST_BODY, max_header_size=LARGEST_BODY, xheaders=False)


def _untold(handler: RequestHandler) -> None:
    """Requests are nobody's business."""
