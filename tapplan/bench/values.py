"""What a measurement can show, as spans: yes is 1 and no is 0, open more than `OPEN_FROM`, never `NEVER`."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from tapplan.exact import Span, union

Prediction = tuple[Span, ...]

MOST = Fraction(10**12)
OPEN_FROM = Fraction(1000)
NO: Prediction = (Span(Fraction(0), Fraction(0)),)
YES: Prediction = (Span(Fraction(1), Fraction(1)),)
EITHER: Prediction = NO + YES
ANY: Prediction = (Span(Fraction(0), MOST),)
OPEN: Prediction = (Span(OPEN_FROM, MOST),)
NEVER = MOST
SOMETIMES = Fraction(-1)  # now so, now otherwise, or a reading that jumps: of whatever is measured


def exactly(*values: Fraction) -> Prediction:
    """These values and no others."""
    return tuple(Span(value, value) for value in sorted(set(values)))


def either(predictions: Iterable[Prediction]) -> Prediction:
    """What any of these allows, each of them as likely as another: spans may overlap, but none stands twice."""
    found = list(predictions)
    if len(found) == 1 and len(found[0]) == 1:
        return found[0]
    return tuple(sorted({span for prediction in found for span in prediction}))


def meets(one: Prediction, two: Prediction) -> bool:
    """Whether some reading fits both."""
    return any(a.meet(b) is not None for a in one for b in two)


def joined(prediction: Prediction) -> Prediction:
    """The same without overlaps, as it is told."""
    return tuple(union(prediction))
