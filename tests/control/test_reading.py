"""What can be read of an input, and what inputs a reading can stand for: sampled, both ways, and by hand."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from tapplan.control.reading import Blur, blur_of
from tapplan.design.model import Sensing
from tapplan.exact import Span

F = Fraction
FINE = F(1, 10**6)

BLURS = st.builds(
    Blur,
    st.integers(0, 5).map(lambda n: F(n, 100)),
    st.integers(0, 6).map(lambda n: F(n, 4)),
)
READ = st.tuples(st.integers(1, 30), st.integers(0, 6)).map(lambda ends: Span(F(ends[0], 20), F(sum(ends), 20)))
VOLTS = st.tuples(st.integers(20, 300), st.integers(0, 40)).map(lambda ends: Span(F(ends[0]), F(sum(ends))))
SHARE = st.integers(0, 12).map(lambda n: F(n, 12))


def between(span: Span, share: Fraction) -> Fraction:
    return span.low + share * (span.high - span.low)


def read_as(blur: Blur, read: Span, volts: Fraction, shares: tuple[Fraction, Fraction, Fraction]) -> Fraction:
    """m = (1 + eps) q V + nu, with eps, q and nu so far between their ends."""
    eps = between(Span(-blur.error, blur.error), shares[0])
    nu = between(Span(-blur.half_noise, blur.half_noise), shares[2])
    return (1 + eps) * between(read, shares[1]) * volts + nu


@given(BLURS, READ, VOLTS, SHARE, st.tuples(SHARE, SHARE, SHARE))
def test_no_reading_of_an_input_lies_outside_and_the_ends_are_read(
    blur: Blur, read: Span, inputs: Span, where: Fraction, shares: tuple[Fraction, Fraction, Fraction]
) -> None:
    every = blur.readings(inputs, read)
    assert read_as(blur, read, between(inputs, where), shares) in every
    assert read_as(blur, read, inputs.low, (F(0), F(0), F(0))) == every.low
    assert read_as(blur, read, inputs.high, (F(1), F(1), F(1))) == every.high


@given(BLURS, READ, VOLTS, st.tuples(SHARE, SHARE, SHARE), st.integers(1, 400).map(F))
def test_an_input_is_named_exactly_when_some_reading_of_it_is_there(
    blur: Blur, read: Span, readings: Span, shares: tuple[Fraction, Fraction, Fraction], volts: Fraction
) -> None:
    """What is read of one input is everything between its two extremes, so it meets the readings, or does not."""
    named = blur.inputs(readings, read)
    assert (named.low, named.high) == (blur.lowest(readings.low, read), blur.highest(readings.high, read))
    if read_as(blur, read, volts, shares) in readings:
        assert volts in named
    beside = [end + side for end in (named.low, named.high) for side in (-FINE, F(0), FINE)]
    for one in [volts, *(near for near in beside if near > 0)]:
        least, most = (read_as(blur, read, one, (share, share, share)) for share in (F(0), F(1)))
        assert (one in named) == (Span(least, most).meet(readings) is not None)


def test_both_ways_by_hand() -> None:
    """1 % and 2 V peak to peak, half to three quarters read: 200 V are read as 98 to 152.5 V."""
    blur, read = blur_of(Sensing(error_pct=F(1), noise_v=F(2))), Span(F(1, 2), F(3, 4))
    assert blur == Blur(F(1, 100), F(1))
    assert blur.readings(Span(F(200), F(200)), read) == Span(F(98), F(305, 2))
    assert blur.inputs(Span(F(98), F(305, 2)), read) == Span(97 / F(303, 400), F(307, 2) / F(99, 200))
    assert blur.lowest(F(305, 2), read) == 200
    assert blur.highest(F(98), read) == 200
    plain = blur_of(Sensing())
    assert plain.inputs(Span(F(98), F(152)), Span(F(1), F(1))) == Span(F(98), F(152))
