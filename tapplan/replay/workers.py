"""Who does independent pieces of work: processes on this machine's cores, or a Dask cluster.

Each piece is a function of what it is given and nothing else, so that one lost with its worker is done again
elsewhere and nothing in the answer can tell.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any, Generic, Protocol, TypeVar

from tapplan.errors import UsageError

Handed = TypeVar("Handed")
Done = TypeVar("Done")

WAITING = 3  # pieces handed out for each worker at a time
TRIES = 3  # pools that may break before the work is given up


@dataclass(frozen=True, slots=True)
class Finished(Generic[Done]):
    """What came of a piece of work, by its place in the order they were given."""

    place: int
    result: Done


class Workers(Protocol):
    """Does pieces of work."""

    def each(self, work: Callable[[Handed], Done], pieces: Sequence[Handed]) -> Iterator[Finished[Done]]:
        """Each of them, in the order in which they are finished."""
        ...


@dataclass(frozen=True, slots=True)
class Cores:
    """In processes of this machine; a process that is lost costs its own pieces a second run."""

    count: int

    def each(self, work: Callable[[Handed], Done], pieces: Sequence[Handed]) -> Iterator[Finished[Done]]:
        """See `Workers`.

        Raises:
            UsageError: processes are lost again and again.
        """
        left = list(range(len(pieces)))
        for _ in range(TRIES):
            try:
                for one in self._pool(work, pieces, left):
                    left.remove(one.place)
                    yield one
                return
            except BrokenProcessPool:
                continue
        raise UsageError(
            f"found {TRIES} times a process that ended without a word; accepted: --cores 1, or more memory"
        )

    def _pool(
        self, work: Callable[[Handed], Done], pieces: Sequence[Handed], left: Sequence[int]
    ) -> Iterator[Finished[Done]]:
        waiting = iter(tuple(left))
        running: dict[Future[Done], int] = {}
        with ProcessPoolExecutor(self.count, mp_context=get_context("spawn"), initializer=_undisturbed) as pool:
            try:
                while True:
                    for place in waiting:
                        running[pool.submit(work, pieces[place])] = place
                        if len(running) >= self.count * WAITING:
                            break
                    if not running:
                        return
                    for future in wait(running, return_when=FIRST_COMPLETED).done:
                        yield Finished(running.pop(future), future.result())
            finally:
                pool.shutdown(wait=False, cancel_futures=True)


def _undisturbed() -> None:
    """Ctrl-C is for the process that hands out the work."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@dataclass(frozen=True, slots=True)
class Cluster:
    """On the workers of a Dask cluster, whose scheduler hands the pieces of a lost worker to others."""

    address: str

    def each(self, work: Callable[[Handed], Done], pieces: Sequence[Handed]) -> Iterator[Finished[Done]]:
        """See `Workers`.

        Raises:
            UsageError: Dask is not installed, or no scheduler answers there.
        """
        client = self._client()
        try:
            yield from self._done(client, work, pieces)
        finally:
            client.close()

    def _done(
        self, client: Any, work: Callable[[Handed], Done], pieces: Sequence[Handed]
    ) -> Iterator[Finished[Done]]:
        """Each piece until it has a result: one whose result was lost on its way is handed out again."""
        from distributed import KilledWorker, wait
        from distributed.client import FutureCancelledError

        left, tries = list(range(len(pieces)))[::-1], dict.fromkeys(range(len(pieces)), TRIES)
        running: dict[Any, int] = {}
        while left or running:
            while left and len(running) < self._room(client):
                place = left.pop()
                running[client.submit(work, pieces[place], pure=False)] = place
            for future in wait(list(running), return_when="FIRST_COMPLETED").done:
                place = running.pop(future)
                try:
                    yield Finished(place, future.result())
                except (FutureCancelledError, KilledWorker) as error:
                    tries[place] -= 1
                    if not tries[place]:
                        raise UsageError(
                            f"--cluster: found workers that are lost again and again ({error})"
                        ) from None
                    left.append(place)

    def _room(self, client: Any) -> int:
        threads: int = sum(client.nthreads().values())
        return max(threads, 1) * WAITING

    def _client(self) -> Any:
        try:
            from distributed import Client
        except ImportError:
            raise UsageError("found no Dask; accepted: --cluster after pip install 'tapplan[region]'") from None
        try:
            return Client(self.address, timeout="10s")
        except (OSError, ValueError) as error:
            accepted = "the address of a Dask scheduler, such as tcp://host:8786"
            raise UsageError(
                f'--cluster: found "{self.address}", where none answers ({error}); accepted: {accepted}'
            ) from None
