"""What a meter shows in a state without a ratio, in words."""

from __future__ import annotations

from collections.abc import Mapping

from tapplan.network.turns import Kind

# Common practice, no source: how a hand-held meter and a fuse meet each of them.
SHOWN: Mapping[Kind, str] = {
    Kind.SHORTED: "no volts that can be foretold: turns are shorted or the line is tied to neutral; expect the fuse",
    Kind.UNFED: "about 0 V: no closed circuit from the line through turns to neutral",
    Kind.UNDETERMINED: "no volts that can be foretold: nothing fixes the volts per turn",
    Kind.FLOATING: "nothing, or a stray reading that a small load takes away: the output is on nothing",
}
