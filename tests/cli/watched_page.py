"""A page that is served, asked as a browser asks, or as one would that means harm."""

from __future__ import annotations

import http.client
import json
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tapplan.checks.review import Review
from tapplan.cli.loopback.desk import DeskFiles
from tapplan.cli.loopback.session import LivePage, live_page
from tests.examples import ROOT

RIDGE = (ROOT / "designs" / "ridge-dispensary.toml").read_text(encoding="utf-8")
TITLE = 'title  = "Ridge dispensary'
WAIT_S = 30.0


@dataclass(frozen=True)
class Answered:
    """The whole answer to one request."""

    status: int
    headers: Mapping[str, str]
    body: str


class Served:
    """A page that is served, asked as a browser asks, or as one would that means harm."""

    def __init__(self, page: LivePage, file: Path) -> None:
        self.url, self.desk, self.file = page.url, page.desk, file
        self.port = int(page.url.split(":")[2].split("/")[0])
        self.home = page.desk.home
        self.token = self.home.strip("/")
        self.origin = f"http://127.0.0.1:{self.port}"

    def call(
        self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]
    ) -> http.client.HTTPConnection:
        """One request; headers by name, _ for -; the Host as given, or as the browser has it."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        call = http.client.HTTPConnection("127.0.0.1", self.port, timeout=WAIT_S)
        call.putrequest(method, path, skip_host="Host" in named, skip_accept_encoding=True)
        for name, value in named.items():
            call.putheader(name, value)
        if body is not None:
            call.putheader("Content-Length", str(len(body)))
        call.endheaders(body)
        return call

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answered:
        with closing(self.call(method, path, body, headers)) as call, call.getresponse() as reply:
            return Answered(reply.status, reply.headers, reply.read().decode())

    def status(self, path: str, **headers: str) -> int:
        return self.ask("GET", path, **headers).status

    def page(self) -> str:
        return self.ask("GET", self.home).body

    @property
    def own(self) -> dict[str, str]:
        """The headers of the panel."""
        return {"Origin": self.origin, "Content_Type": "application/json", "Tapplan_Token": self.token}

    def post(self, what: str, numbers: object, read: str | None = None, **headers: str) -> Answered:
        """What the panel sends, with some headers in place of its own; an empty one is left out."""
        body = json.dumps({"read": read or self.desk.good.mark, "numbers": numbers}).encode()
        sent = {name: value for name, value in {**self.own, **headers}.items() if value}
        return self.ask("POST", self.home + what, body, **sent)

    def told(self, what: str, numbers: Mapping[str, str], read: str | None = None) -> tuple[int, str]:
        """The status, and the page to go to or the problem."""
        reply = self.post(what, numbers, read)
        found = json.loads(reply.body)
        return reply.status, found.get("page", found.get("problem"))

    @contextmanager
    def news(self) -> Iterator[Callable[[Callable[[Any], bool]], Any]]:
        """Waits for an event that is wanted, and returns it."""
        call = self.call("GET", self.home + "events", None, {"Origin": self.origin})
        events = call.getresponse()
        assert events.headers["Content-Type"] == "text/event-stream"

        def until(wanted: Callable[[Any], bool]) -> Any:
            ends = time.monotonic() + WAIT_S
            while time.monotonic() < ends:
                line = events.readline().decode()
                if line.startswith("data: ") and wanted(found := json.loads(line.removeprefix("data: "))):
                    return found
            raise AssertionError("no such event came")

        with closing(call), events:
            yield until


def small(one: Review, older: Review | None) -> str:
    """A page in place of the report, which is there sooner."""
    titles = [each.design.title for each in (one, older) if each is not None]
    return f"<!DOCTYPE html><html><head><title>{'; '.join(titles)}</title></head><body></body></html>"


@contextmanager
def working(file: Path, older: Path | None = None, page_of: Any = small) -> Iterator[Served]:
    """A page that is served, its errands done in a thread of this process."""
    over = threading.Event()
    with live_page(DeskFiles(str(file), None if older is None else str(older)), page_of, 0) as page:

        def work() -> None:
            while not over.is_set():
                page.errands.do_next(page.desk)

        thread = threading.Thread(target=work)
        thread.start()
        try:
            yield Served(page, file)
        finally:
            over.set()
            page.errands.look()
            thread.join()


def saved(folder: Path, text: str | bytes = RIDGE, name: str = "mine.toml") -> Path:
    file = folder / name
    file.write_bytes(text.encode() if isinstance(text, str) else text)
    return file


def in_place(file: Path, content: bytes) -> None:
    file.write_bytes(content)


def by_rename(file: Path, content: bytes) -> None:
    beside = file.with_name(".mine.toml.swp")
    beside.write_bytes(content)
    beside.replace(file)
