"""A long log in shares, run apart on cores or machines and joined to just what one run gives.

A share is a map from how the controller stands at its begin to how it stands at its end, with what it counts. It is
run once from switch-on. Controllers soon forget how they began: where, after its first samples, the one that really
comes stands as that one did, all that follows is the same, and only those samples are run again. Where it does not,
the share is run anew from the real begin.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tapplan.logs.samples import Log
from tapplan.replay.course import CarriedOn, Stretch
from tapplan.replay.engines import NUMPY
from tapplan.replay.machine import Machine
from tapplan.replay.replayed import USUAL_GAP, LogCourse, LogPass, LogRead, LogRun, Running, between, broken, ended
from tapplan.replay.steps import Distances
from tapplan.replay.tally import Tally

HEAD = 4096  # samples that are run again


@dataclass(frozen=True)
class ShareCourse:
    """A machine's course along a share from switch-on: how it stood after the head, and from there to the end."""

    at_head: CarriedOn
    tail: Tally
    end: CarriedOn


@dataclass(frozen=True)
class ShareRun:
    """A share that has been run: its first samples, its last one, what was read, a course for each machine."""

    front: Stretch
    end: Stretch
    read: LogRead
    courses: tuple[ShareCourse, ...]


class NotApartError(Exception):
    """The shares cannot be joined: their times overlap, or each took something else for a gap."""


def share_run(
    log: Log, machines: Sequence[Machine], how: Running, gap: int | None, head: int = HEAD
) -> ShareRun | None:
    """A share from switch-on; None where it holds no sample."""
    run = LogPass(log, machines, how, gap, head)
    run.whole()
    if not run.samples:
        return None
    if len(run.front.times) == run.samples:  # all of it is head
        for course in run.courses:
            course.put_aside()
    read = LogRead(log.name, log.made, run.samples, run.distances, run.gap or 0, run.bad)
    courses = tuple(ShareCourse(one.at_head, one.tally.trimmed(), one.carried) for one in run.courses)
    return ShareRun(run.front, run.end, read, courses)


@dataclass(frozen=True)
class Joining:
    """What is needed to join shares: their log's name and scale, the machines, and a share run from another begin."""

    name: str
    log: Log
    machines: Sequence[Machine]
    how: Running
    again: Callable[[int], Log]


def joined(shares: Sequence[ShareRun], joining: Joining, gap: int) -> LogRun:
    """The log that the shares are parts of, in order.

    Raises:
        NotApartError: their times overlap, or the gap is another than the whole log's.
    """
    distances = _distances(shares)
    if joining.how.max_gap is None and gap != USUAL_GAP * distances.median:
        raise NotApartError
    courses = [LogCourse(one, joining.log.scale) for one in joining.machines]
    bad = shares[0].read.bad
    for number, share in enumerate(shares):
        if number:
            bad = bad.joined(share.read.bad)
            for course in courses:
                course.take(broken(between(shares[number - 1].end, share.front), gap), NUMPY)
        for course, known in zip(courses, share.courses, strict=True):
            if not _enter(course, share, known, gap):
                _again(course, joining.again(number), replace(joining.how, max_gap=gap))
    samples = sum(share.read.samples for share in shares)
    read = LogRead(joining.name, joining.log.made, samples, distances, gap, bad)
    return ended(read, shares[0].front, shares[-1].end, courses, partial=False)


def _distances(shares: Sequence[ShareRun]) -> Distances:
    found = Distances()
    for number, share in enumerate(shares):
        if number:
            steps = np.diff(between(shares[number - 1].end, share.front).times)
            if steps[0] <= 0:
                raise NotApartError
            found.add(steps)
        found.join(share.read.distances)
    return found


def _enter(course: LogCourse, share: ShareRun, known: ShareCourse, gap: int) -> bool:
    """The share from how the course stands now, where it comes to stand as it was known to; whether it does."""
    probe = LogCourse(course.machine, course.scale, course.carried)
    if len(share.front.times) > 1:
        probe.take(broken(share.front, gap), NUMPY)
    if probe.carried != known.at_head:
        return False
    course.tally.join(probe.tally)
    course.tally.join(known.tail)
    course.carried = known.end
    return True


def _again(course: LogCourse, log: Log, how: Running) -> None:
    """The share run anew from how the course stands now."""
    run = LogPass(log, [course.machine], how, how.max_gap)
    run.courses[0].carried = course.carried
    run.whole()
    course.tally.join(run.courses[0].tally)
    course.carried = run.courses[0].carried
