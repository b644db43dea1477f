"""What a meter at the output shows in each kind of state, and how a state is told, in words for a page."""

from __future__ import annotations

from collections.abc import Mapping

from tapplan.network.turns import Kind

# Common practice, no source: how a hand-held meter and a fuse meet each of them.
SHOWN: Mapping[Kind, str] = {
    Kind.SHORTED: "no volts that can be foretold: turns are shorted or the line is tied to neutral; expect the fuse",
    Kind.UNFED: "about 0 V: no closed circuit from the line through turns to neutral",
    Kind.UNDETERMINED: "no volts that can be foretold: nothing fixes the volts per turn",
    Kind.FLOATING: "nothing, or a stray reading that a small load takes away: the output is on nothing",
    Kind.DEAD: "0 V: the output stands on neutral",
    Kind.BYPASS: "the line's own volts, straight through contacts",
    Kind.REVERSED: "volts in antiphase to the line",
    Kind.BOOST: "more than the line",
    Kind.BUCK: "less than the line",
    Kind.DIRECT: "the line's own volts",
}
