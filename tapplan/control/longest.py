"""How long a move can stay in bad stages, whatever stands so before it and goes on so after it.

A stay depends on the times of the relays and on which of their stages are bad, on no volts: what was found for these
serves every move that has them. And four searches answer for every wait: a stay that begins before the move is the
wait, and what of the move can follow it at the longest; one that goes on after the move likewise.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache

import numpy as np

from tapplan.arrays import Mask
from tapplan.control.flights import FlightStage, RelayFlight
from tapplan.control.stays import longest_stay_in
from tapplan.exact import Span

MOST_KEPT = 4096  # sets of bad stages, of up to two kilobytes each
Box = Sequence[Sequence[FlightStage]]  # for each relay the stages it may be in, one after the other


@dataclass(frozen=True)
class LongestStays:
    """The longest stays of one relay or more in a set of bad stages, in ms, each searched when it is asked for.

    `bad` are the bits of a mask with an axis for each relay.
    """

    flights: tuple[RelayFlight, ...]
    bad: bytes

    def ms(self, before_ms: Fraction, after_ms: Fraction) -> Fraction:
        """The longest, what is before the first command and after the last settled relay being as bad for so long.

        0: it is not as bad. Where a search was cut off, a bound from above, as of `longest_stay`.
        """
        found = [self.inside]
        if before_ms:
            found.append(before_ms + self.from_before)
        if after_ms:
            found.append(self.until_after + after_ms)
        if before_ms and after_ms and self.throughout:
            found.append(before_ms + self._settled + after_ms)
        return max(found)

    @cached_property
    def inside(self) -> Fraction:
        """The longest from the first command until the last relay has settled."""
        return self._searched(Fraction(0), Fraction(0))

    @cached_property
    def from_before(self) -> Fraction:
        """How long what is bad before the move lasts from the first command on."""
        return self._searched(self._ample, Fraction(0)) - self._ample

    @cached_property
    def until_after(self) -> Fraction:
        """How long it has lasted when every relay has settled, where it is bad after the move."""
        return self._searched(Fraction(0), self._ample) - self._ample

    @cached_property
    def throughout(self) -> bool:
        """Whether some timing is bad from before the move until after it."""
        return self._searched(self._ample, self._ample) >= self._ample + self._settled + self._ample

    @cached_property
    def _settled(self) -> Fraction:
        return max(one.settled for one in self.flights)

    @property
    def _ample(self) -> Fraction:
        """So long that a stay with it is longer than any without."""
        return self._settled + 1

    def _searched(self, before_ms: Fraction, after_ms: Fraction) -> Fraction:
        mask = unpacked(self.bad, len(self.flights))
        if before_ms:
            mask[np.ix_(*[one.old_stages for one in self.flights])] = True
        if after_ms:
            mask[np.ix_(*[one.new_stages for one in self.flights])] = True
        within = Span(-before_ms, self._settled + after_ms)
        return longest_stay_in(self.flights, mask, within).most


@lru_cache(maxsize=MOST_KEPT)
def longest_stays(flights: tuple[RelayFlight, ...], bad: bytes) -> LongestStays:
    """The longest stays of these relays in what is bad, the same for all who ask."""
    return LongestStays(flights, bad)


def packed(boxes: Iterable[Box], relays: int) -> bytes:
    """The bits of a mask of all the vectors in boxes."""
    mask = np.zeros((len(FlightStage),) * relays, np.bool_)
    for box in boxes:
        mask[tuple(slice(stages[0], stages[-1] + 1) for stages in box)] = True
    return np.packbits(mask).tobytes()


def unpacked(bits: bytes, relays: int) -> Mask:
    """A mask of its bits, with an axis for each relay."""
    size = len(FlightStage)
    flat = np.unpackbits(np.frombuffer(bits, np.uint8), count=size**relays)
    return flat.reshape((size,) * relays).astype(np.bool_)
