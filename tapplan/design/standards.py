"""Published supply ranges and equipment tolerance curves, each with its source and how sure we are of it.

The texts of most of these standards are sold, and were not at hand: `seen` says what stands behind a row.
"memory, high" and "memory, medium" mean the number is remembered, not read; confirm it before you lean on it
in a contract. "quoted" means it was read in a public text that quotes the source.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import log


@dataclass(frozen=True, slots=True)
class PublishedSupply:
    """A published supply: nominal volts, the limits at the supply terminals, and the frequency in hertz."""

    key: str
    nominal_v: Fraction
    range_v: tuple[Fraction, Fraction]
    frequency_hz: Fraction
    title: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Curve:
    """A published tolerance curve in percent of nominal against the seconds for which it lasts.

    `upper` and `lower` are corner points `(seconds, percent)` in rising time: from each point until the next
    one a voltage up to (down to) that percentage is tolerated; the last level holds for ever. Parts of `upper` that
    end at or before `sloped_s` are straight in log time instead.
    """

    key: str
    title: str
    upper: tuple[tuple[Fraction, Fraction], ...]
    lower: tuple[tuple[Fraction, Fraction], ...]
    source: str
    seen: str
    note: str = ""
    sloped_s: Fraction = Fraction(0)

    def may_rise_s(self, percent: Fraction) -> Fraction | None:
        """For how many seconds the voltage may stand so high; None: for ever."""
        if not self.upper or percent <= self.upper[-1][1]:
            return None
        for (begin, high), (end, low) in pairwise(self.upper):
            if low < percent <= high:
                share = (high - percent) / (high - low)
                return _between(begin, end, share) if self._slopes(begin, end) else end
        return Fraction(0)

    def may_fall_s(self, percent: Fraction) -> Fraction | None:
        """For how many seconds the voltage may stand so low; None: for ever."""
        if not self.lower or percent >= self.lower[-1][1]:
            return None
        return next((end for (_, low), (end, high) in pairwise(self.lower) if low <= percent < high), Fraction(0))

    def may_rise_to(self, seconds: Fraction) -> Fraction | None:
        """The highest percentage tolerated for so long; None: the curve has no upper part."""
        if not self.upper:
            return None
        for (begin, high), (end, low) in pairwise(self.upper):
            if seconds <= end:
                if seconds <= begin or not self._slopes(begin, end):
                    return high
                share = log(seconds / begin) / log(end / begin)
                return high - (high - low) * Fraction(round(share * 10**9), 10**9)
        return self.upper[-1][1]

    def may_fall_to(self, seconds: Fraction) -> Fraction | None:
        """The lowest percentage tolerated for so long; None: the curve has no lower part."""
        if not self.lower:
            return None
        return next((low for (_, low), (end, _) in pairwise(self.lower) if seconds <= end), self.lower[-1][1])

    def _slopes(self, begin: Fraction, end: Fraction) -> bool:
        return begin < end <= self.sloped_s


def _between(begin: Fraction, end: Fraction, share: Fraction) -> Fraction:
    """A time between two, by its share of the way in log time; to a nanosecond."""
    return Fraction(round(float(begin) * float(end / begin) ** float(share) * 10**9), 10**9)


def _supply(key: str, volts: str, hertz: int, *words: str) -> PublishedSupply:
    """A supply from nominal, lowest and highest volts; the words are title, source and how it was seen."""
    nominal, low, high = (Fraction(number) for number in volts.split())
    return PublishedSupply(key, nominal, (low, high), Fraction(hertz), *words)


_IEC = "IEC 60038:2009, table 1: nominal +/-10 % at the supply terminals"
_C84 = "ANSI C84.1, table 1, service voltage"
_PRODIST = "ANEEL PRODIST Module 8, steady state, adequate band at the connection point"
_HIGH, _MEDIUM, _QUOTED = "memory, high", "memory, medium", "quoted"

SUPPLIES: tuple[PublishedSupply, ...] = (
    _supply("iec-60038-230", "230 207 253", 50, "230 V, 50 Hz", _IEC, _HIGH),
    _supply("iec-60038-120", "120 108 132", 60, "120 V, 60 Hz", _IEC, _HIGH),
    _supply("iec-60038-240-60hz", "240 216 264", 60, "240 V, 60 Hz", _IEC, _HIGH),
    _supply("iec-60038-400", "400 360 440", 50, "400 V line to line, 50 Hz", _IEC, _HIGH),
    _supply(
        "en-50160-230-95pct",
        "230 207 253",
        50,
        "230 V, 95 % of a week's ten-minute means",
        "EN 50160:2010, clause 4: Un +/-10 %",
        _HIGH,
    ),
    _supply(
        "en-50160-230-all",
        "230 195.5 253",
        50,
        "230 V, every ten-minute mean",
        "EN 50160:2010, clause 4: Un +10 % / -15 %",
        _HIGH,
    ),
    _supply("ansi-c84.1-120-a", "120 114 126", 60, "120 V, range A", _C84, _QUOTED),
    _supply("ansi-c84.1-120-b", "120 110 127", 60, "120 V, range B", _C84, _QUOTED),
    _supply("ansi-c84.1-240-a", "240 228 252", 60, "240 V, range A", _C84, _HIGH),
    _supply("ansi-c84.1-240-b", "240 220 254", 60, "240 V, range B", _C84, _HIGH),
    _supply("csa-c235-120-normal", "120 110 125", 60, "Canada, normal", "CSA C235, normal range", _HIGH),
    _supply(
        "csa-c235-120-extreme",
        "120 106 127",
        60,
        "Canada, extreme",
        "CSA C235, extreme range",
        _HIGH,
    ),
    _supply(
        "uk-230",
        "230 216.2 253",
        50,
        "United Kingdom",
        "ESQC Regulations 2002, regulation 27: 230 V +10 % / -6 %",
        _HIGH,
    ),
    _supply(
        "australia-230",
        "230 216.2 253",
        50,
        "Australia",
        "AS 60038-2012: 230 V +10 % / -6 %",
        _HIGH,
    ),
    _supply(
        "india-240",
        "240 225.6 254.4",
        50,
        "India, older rule",
        "Indian Electricity Rules 1956, rule 54: +/-6 %; nominal IS 12360:1988",
        _QUOTED,
    ),
    _supply(
        "japan-100",
        "100 95 107",
        50,
        "Japan, 101 +/-6 V",
        "Electricity Business Act, art. 26, and its Enforcement Regulation",
        _QUOTED,
    ),
    _supply(
        "japan-200",
        "200 182 222",
        50,
        "Japan, 202 +/-20 V",
        "Electricity Business Act, art. 26, and its Enforcement Regulation",
        _QUOTED,
    ),
    _supply("china-220", "220 198 235.4", 50, "China", "GB/T 12325-2008: 220 V +7 % / -10 %", _HIGH),
    _supply(
        "gost-230",
        "230 207 253",
        50,
        "GOST region",
        "GOST 29322-2014, GOST 32144-2013: +/-10 %",
        _HIGH,
    ),
    _supply(
        "nigeria-230",
        "230 216.2 243.8",
        50,
        "Nigeria",
        "NERC Distribution Code: 230 V +/-6 %",
        _MEDIUM,
    ),
    _supply("south-africa-230", "230 207 253", 50, "South Africa", "NRS 048-2: 230 V +/-10 %", _MEDIUM),
    _supply("brazil-127", "127 117 133", 60, "Brazil, 127 V", _PRODIST, _QUOTED),
    _supply("brazil-220", "220 202 231", 60, "Brazil, 220 V", _PRODIST, _QUOTED),
    _supply("brazil-230", "230 212 242", 60, "Brazil, 230 V", _PRODIST, _QUOTED),
)


def _points(*corners: str) -> tuple[tuple[Fraction, Fraction], ...]:
    """Corners of a curve, each written as seconds and percent."""
    written = (one.split(": ") for one in corners)
    return tuple((Fraction(seconds), Fraction(percent)) for seconds, percent in written)


CURVES: tuple[Curve, ...] = (
    Curve(
        "iti-2000",
        "ITI (CBEMA) curve, 2000 revision, single-phase 120 V 60 Hz equipment",
        upper=_points("1/6000: 500", "1/1000: 200", "3/1000: 140", "3/1000: 120", "1/2: 110"),
        lower=_points("0: 0", "1/50: 70", "1/2: 80", "10: 90"),
        source="Information Technology Industry Council, application note TC3, 2000; corner points as labelled "
        "in Kusko & Thompson, Power Quality in Electrical Systems, fig. 8.2",
        seen=_QUOTED,
        note="500 % at 1/6 ms, 200 % at 1 ms and 140 % at 3 ms are joined by lines straight in log time",
        sloped_s=Fraction(3, 1000),
    ),
    Curve(
        "semi-f47",
        "SEMI F47-0706, voltage sag immunity: three required points, and the dropout of one cycle it recommends",
        upper=(),
        lower=_points("0: 0", "1/60: 50", "1/5: 70", "1/2: 80", "1: 90"),
        source="SEMI F47-0706: 50 % for 0.2 s, 70 % for 0.5 s, 80 % for 1 s; recommended: 0 % for a cycle, 90 % on",
        seen=_QUOTED,
        note="one cycle is taken at 60 Hz, the shorter",
    ),
)


def curve(key: str) -> Curve | None:
    """The tolerance curve of that key, or None."""
    return next((entry for entry in CURVES if entry.key == key), None)


def supply(key: str) -> PublishedSupply | None:
    """The published supply of that key, or None."""
    return next((entry for entry in SUPPLIES if entry.key == key), None)
