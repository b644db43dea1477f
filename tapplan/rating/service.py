"""All that the stage does in service: the bands, then the feeds, every case of each, and where the worst stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Floats
from tapplan.rating.carried import Carried, Cases
from tapplan.rating.feeds import FeedCase


@dataclass(frozen=True, slots=True)
class At:
    """Where a worst value stands: the band and the true input, or the feed that runs and its volts."""

    name: str
    volts: float


@dataclass(frozen=True, slots=True)
class Worst:
    """The largest of some currents, and where it stands; None where one of them is not to be had."""

    amperes: float | None
    at: At | None


@dataclass(frozen=True, slots=True)
class Service:
    """The bands with their load on, and what flows while each feed runs that shorts nothing."""

    carried: Carried
    feeds: Sequence[FeedCase]

    @property
    def idle(self) -> bool:
        """Whether no band holds anything of the mains range and no feed runs."""
        return not self.carried.rows and not self.feeds

    @property
    def cases(self) -> list[Cases]:
        """The cases of the bands, then those of each feed."""
        return [self.carried.cases, *(feed.cases for feed in self.feeds)]

    @property
    def fixed(self) -> list[Cases]:
        """Those cases in which the points' volts against neutral are fixed."""
        return [self.carried.cases, *(feed.cases for feed in self.feeds if feed.used.output is not None)]

    @property
    def serving(self) -> list[Cases]:
        """Those cases in which the load is served."""
        return [self.carried.cases, *(feed.cases for feed in self.feeds if feed.used.fault is None)]

    @property
    def places(self) -> list[At]:
        """Where each case stands: each band at both its ends, then each feed at both its ends."""
        carried = self.carried
        bands = [
            At(row.name, float(volts))
            for row, ends in zip(carried.rows, carried.line_v, strict=True)
            for volts in ends
        ]
        return bands + [At(feed.name, float(volts)) for feed in self.feeds for volts in feed.cases.volts]

    def worst(self, currents: Sequence[Floats]) -> Worst:
        """The worst of these magnitudes, given for each of `cases`."""
        each = np.concatenate(currents)
        if np.isnan(each).any():
            return Worst(None, None)
        place = int(np.argmax(each))
        return Worst(float(each[place]), self.places[place])
