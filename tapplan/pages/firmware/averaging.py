"""How samples become a reading: which sums, how wide, and how far samples may go.

A reading is the whole number nearest the exact value, a half rounded up. RMS: with d the sample less the middle of
the converter, N samples with A = sum of d^2 and S = sum of d, the variance is (A - S^2/N) / N. A window of whole
cycles has no direct part, so that what S holds is the converter's own offset, and is taken off; any other window has
one, and A/N is taken. With S = qN + r and B = A - q (S + r) the variance is (B - r^2/N) / N, and floor(4 variance) =
floor((4B - ceil(4 r^2/N)) / N); half its whole root plus a half, cut off, is the nearest whole number to the RMS
value, since (2k - 1)^2 <= 4 variance holds just when it holds of the floor. So every step is one of whole numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.control.program import Program
from tapplan.errors import UsageError

UNSTATED = 64  # samples of a window where the design states none: an example, which the firmware's author sets
MILLIVOLTS = 2**26 - 1  # the largest sample in mV, far above any mains
MOST_SAMPLES = 16384


@dataclass(frozen=True, slots=True)
class Averaging:
    """What one window takes: a detector, samples from `lowest` to `highest`, their `middle`, and how wide sums are.

    `counted`: samples are counts of a converter, else millivolts. `samples` is the number usual in a window, `stated`
    whether the design says so, `most` how many fit. `centred`: the mean of the window is taken off before squaring.
    """

    detector: str
    counted: bool
    lowest: int
    highest: int
    middle: int
    samples: int
    stated: bool
    most: int
    centred: bool
    bits: int

    @property
    def count_bits(self) -> int:
        """Bits that hold the number of samples."""
        return 8 if self.most < 256 else 16


def averaging(made: Program) -> Averaging:
    """The averaging of a program's readings.

    Raises:
        UsageError: more samples than sums of 64 bits are proven for.
    """
    design = made.table.design
    controller, sensing = design.controller, design.sensing
    rms = sensing.detector == "rms"
    stated = controller is not None and (controller.samples > 1 or not rms)
    samples = int(controller.samples) if controller is not None and stated else UNSTATED
    if samples > MOST_SAMPLES:
        raise UsageError(f"found {samples} samples in a reading; accepted: up to {MOST_SAMPLES} in firmware")
    most = 2 * samples  # a window that follows the line takes more where the line is slow
    if controller is None:
        lowest, highest, middle = (-MILLIVOLTS if rms else 0), MILLIVOLTS, 0
        largest = MILLIVOLTS
    else:
        lowest, highest = 0, 2 ** int(controller.bits) - 1
        middle = 2 ** (int(controller.bits) - 1) if rms else 0
        largest = middle if rms else highest
    fits = (4 * most * max(largest**2, most) + 4 * most if rms else 2 * most * (largest + 1)) < 2**32
    centred = rms and sensing.window_cycles.denominator == 1
    return Averaging(
        sensing.detector,
        controller is not None,
        lowest,
        highest,
        middle,
        samples,
        stated,
        most,
        centred,
        32 if fits else 64,
    )
