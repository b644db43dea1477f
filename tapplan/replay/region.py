"""Many logs through the machines, or the shares of long ones: what is run is put to workers and joined in order."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache

from tapplan.control.table import ControlTable
from tapplan.errors import TapplanError
from tapplan.logs.samples import Log
from tapplan.replay.engines import Engines
from tapplan.replay.machine import Machine, machine
from tapplan.replay.replayed import LogRun, Running, replayed
from tapplan.replay.shares import Joining, NotApartError, ShareRun, joined, share_run
from tapplan.replay.workers import Workers
from tapplan.replay.zone import Zone


@dataclass(frozen=True, slots=True)
class FailedLog:
    """A log that could not be read, and why."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Given:
    """What every worker needs: the tables, as bytes so that a worker makes machines of them once; zone and gap."""

    tables: bytes
    zone: str | None
    max_gap: int | None

    def machines(self) -> tuple[Machine, ...]:
        """The tables made ready."""
        return _machines(self.tables, self.zone)


def given(tables: Sequence[ControlTable], zone: str | None, max_gap: int | None) -> Given:
    """The same for all logs."""
    return Given(pickle.dumps(tuple(tables)), zone, max_gap)


@cache
def _engines() -> Engines:
    """One choice for all logs of a process, so that many short ones are worth the compiled engine too."""
    return Engines()


@lru_cache(maxsize=4)
def _machines(tables: bytes, zone: str | None) -> tuple[Machine, ...]:
    return tuple(machine(one, Zone(zone)) for one in pickle.loads(tables))  # noqa: S301, it is our own


@dataclass(frozen=True, slots=True)
class Piece:
    """A log, or a share of one, to be run; `gap` where a share's is known."""

    given: Given
    log: Log
    share: bool = False
    gap: int | None = None


def runs_here(logs: Sequence[Log], machines: Sequence[Machine], how: Running) -> Iterator[LogRun | FailedLog]:
    """Each log in this process, one after the other, until it is to stop."""
    for log in logs:
        try:
            run = replayed(log, machines, how)
        except TapplanError as error:
            yield FailedLog(log.name, str(error))
            continue
        yield run
        if run.partial:
            return


Ran = LogRun | FailedLog | ShareRun | None


def ran(piece: Piece) -> Ran:
    """What a worker does with a piece: a share without a sample is None."""
    machines, how = piece.given.machines(), Running(max_gap=piece.given.max_gap, engines=_engines())
    try:
        if piece.share:
            return share_run(piece.log, machines, how, piece.gap or how.max_gap)
        return replayed(piece.log, machines, how)
    except TapplanError as error:
        return FailedLog(piece.log.name, str(error))


@dataclass(frozen=True, slots=True)
class Site:
    """A log and the shares it is run in; none where it is run whole."""

    log: Log
    shares: tuple[Log, ...] = ()


@dataclass
class Region:
    """Sites on their way; `tell` hears how many pieces of how many are done, `stop` ends it with what there is."""

    given: Given
    workers: Workers
    tell: Callable[[int, int], None] = lambda done, of: None
    stop: Callable[[], bool] = lambda: False
    done: int = field(default=0, init=False)

    def runs(self, sites: Sequence[Site]) -> Iterator[LogRun | FailedLog]:
        """Each site's run, in the order of the sites."""
        pieces = [self._pieces(site) for site in sites]
        flat = [piece for each in pieces for piece in each]
        got: dict[int, Ran] = {}
        place, site = 0, 0
        for finished in self.workers.each(ran, flat):
            got[finished.place] = finished.result
            self.done += 1
            self.tell(self.done, len(flat))
            while site < len(sites) and all(place + at in got for at in range(len(pieces[site]))):
                parts = [got.pop(place + at) for at in range(len(pieces[site]))]
                place, site = place + len(parts), site + 1
                yield self._joined(sites[site - 1], parts)
            if self.stop():
                return
        if site < len(sites):
            raise RuntimeError(f"{len(sites) - site} logs were not run")

    def _pieces(self, site: Site, gap: int | None = None) -> list[Piece]:
        if not site.shares:
            return [Piece(self.given, site.log)]
        return [Piece(self.given, one, share=True, gap=gap) for one in site.shares]

    def _joined(self, site: Site, parts: Sequence[Ran]) -> LogRun | FailedLog:
        """A site of its parts; where its shares do not go together, its log in one go."""
        if not site.shares and isinstance(parts[0], FailedLog | LogRun):
            return parts[0]
        shares = [one for one in parts if isinstance(one, ShareRun)]
        kept = [log for log, one in zip(site.shares, parts, strict=True) if one is not None]
        if shares and not any(isinstance(one, FailedLog) for one in parts):  # a share may fail where its log does not
            try:
                return self._join(site.log, shares, kept)
            except NotApartError:
                pass
        found = ran(Piece(self.given, site.log))
        return found if isinstance(found, LogRun | FailedLog) else FailedLog(site.log.name, "no sample")

    def _join(self, log: Log, shares: Sequence[ShareRun], kept: Sequence[Log]) -> LogRun:
        how = Running(max_gap=self.given.max_gap)
        gaps = {one.read.gap for one in shares if one.read.gap}
        if len(gaps) != 1:
            raise NotApartError
        joining = Joining(log.name, log, self.given.machines(), how, lambda number: kept[number])
        return joined(shares, joining, gaps.pop())
