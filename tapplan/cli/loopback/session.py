"""A report watched from the call to Ctrl-C: one thread serves, this one works out pages.

Pages are made in the thread that was called because logs are run in it with a bar on the terminal, and because
Ctrl-C comes to it: whatever it is about ends then.
"""

from __future__ import annotations

import asyncio
import queue
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

from tornado.locks import Condition

from tapplan.cli.loopback.asked import NumberRequest
from tapplan.cli.loopback.board import NewsBoard
from tapplan.cli.loopback.desk import Desk, DeskFiles, PageOf, opened_desk
from tapplan.cli.loopback.saves import watch_saves
from tapplan.cli.loopback.server import LOOPBACK, Door, served
from tapplan.errors import UsageError, escaped

MOST_WAITING = 4  # requests; a page waits for its own
GRACE_S = 5.0  # for the server's thread to end
TURN_S = 0.5


@dataclass
class Errands:
    """What is to be done next: requests in their order, and whether a file may have been saved."""

    waiting: queue.Queue[NumberRequest | None] = field(default_factory=lambda: queue.Queue(MOST_WAITING + 1))
    saved: threading.Event = field(default_factory=threading.Event)

    def ask(self, asked: NumberRequest) -> bool:
        """Whether a request is taken."""
        if self.waiting.qsize() >= MOST_WAITING:
            return False
        with suppress(queue.Full):
            self.waiting.put_nowait(asked)
            return True
        return False

    def look(self) -> None:
        """A file may have been saved; said twice, it is looked at once."""
        if not self.saved.is_set():
            self.saved.set()
            with suppress(queue.Full):  # whatever is taken next, the files come first
                self.waiting.put_nowait(None)

    def do_next(self, desk: Desk) -> None:
        """The next errand, if there is one soon."""
        with suppress(queue.Empty):
            asked = self.waiting.get(timeout=TURN_S)
            if self.saved.is_set():
                self.saved.clear()
                desk.look()
            if asked is not None and asked.reply.set_running_or_notify_cancel():
                asked.reply.set_result(desk.answer(asked))


@dataclass(frozen=True, slots=True)
class LivePage:
    """A page that is being served, and the errands of those who look at it."""

    url: str
    desk: Desk
    errands: Errands

    def work(self) -> None:
        """Does what is asked for, until it is interrupted."""
        while True:
            self.errands.do_next(self.desk)


@contextmanager
def live_page(files: DeskFiles, page_of: PageOf, port: int) -> Iterator[LivePage]:
    """The page of a design file, served on the loopback until the end of the block; port 0 is any that is free.

    Raises:
        DesignError: the file makes no page.
        UsageError: the port is taken.
    """
    bound = _bound(port)
    board, errands, token = NewsBoard(), Errands(), secrets.token_urlsafe(24)
    door = Door(token, bound.getsockname()[1], board, errands.ask, Condition())
    with bound:
        desk = opened_desk(files, page_of, board, door.home)
        with _serving(door, bound, files, errands):
            yield LivePage(f"http://{LOOPBACK}:{door.port}{door.home}", desk, errands)


def watch(files: DeskFiles, page_of: PageOf, port: int, *, browser: bool) -> None:
    """Serves the page of a design file until Ctrl-C, its address on standard output."""
    with suppress(KeyboardInterrupt), live_page(files, page_of, port) as page:
        sys.stdout.write(f"{page.url}\nwatching {escaped(files.design)}; Ctrl-C ends\n")
        sys.stdout.flush()
        if browser and not webbrowser.open(page.url):
            sys.stderr.write("found no browser to open; open the address above in one\n")
        page.work()


def _bound(port: int) -> socket.socket:
    """A socket of the loopback, so that nobody on the network reaches it."""
    try:
        bound = socket.create_server((LOOPBACK, port))
    except OSError as error:
        reason = error.strerror or str(error)
        raise UsageError(f"found --port {port}, which cannot be had ({reason}); accepted: another one") from None
    bound.setblocking(False)
    return bound


@contextmanager
def _serving(door: Door, bound: socket.socket, files: DeskFiles, errands: Errands) -> Iterator[None]:
    """A thread that serves, and is over at the end of the block."""
    begun: queue.SimpleQueue[_Serving] = queue.SimpleQueue()

    async def run() -> None:
        loop, stop = asyncio.get_running_loop(), asyncio.Event()
        begun.put(_Serving(loop, stop))
        server = served(door)
        server.add_sockets([bound])
        paths = [path for path in (files.design, files.older) if path is not None]
        saves = asyncio.create_task(watch_saves(paths, errands.look))
        await stop.wait()
        saves.cancel()
        door.ended = True
        door.news.notify_all()
        server.stop()
        await server.close_all_connections()
        with suppress(asyncio.CancelledError):
            await saves

    thread = threading.Thread(target=lambda: asyncio.run(run()), name="tapplan page", daemon=True)
    thread.start()
    serving = begun.get()
    door.board.wake = lambda: serving.tell(door.news.notify_all)
    try:
        yield
    finally:
        serving.tell(serving.stop.set)
        thread.join(GRACE_S)


@dataclass(frozen=True, slots=True)
class _Serving:
    """The other thread's loop, and what ends it."""

    loop: asyncio.AbstractEventLoop
    stop: asyncio.Event

    def tell(self, what: Callable[[], None]) -> None:
        """Has something done there; nothing where it is over."""
        with suppress(RuntimeError):
            self.loop.call_soon_threadsafe(what)
