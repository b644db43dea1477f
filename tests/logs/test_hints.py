"""What can be done about bad rows."""

from __future__ import annotations

from pathlib import Path

import pytest

from tapplan.logs.form import LogForm
from tapplan.logs.hints import CLOCK_PUT_BACK, UNIT_TO_GIVE, hints
from tapplan.logs.samples import BadRow, BadRows, RowFault
from tests.logs.reading import read_text

# A clock that is put back at 3, with a sample every ten minutes.
AUTUMN = [f"2024-10-27 {hour:02}:{minute:02}:00" for hour in (0, 1, 2, 2, 3, 4) for minute in range(0, 60, 10)]


def test_a_clock_put_back_asks_for_its_zone(tmp_path: Path) -> None:
    content = "time,voltage\n" + "".join(f"{stamp},230\n" for stamp in AUTUMN)
    found = read_text(tmp_path, content)
    assert found.bad.counts == {RowFault.BACKWARDS: 5, RowFault.SAME_TIME: 1}
    assert hints(found.bad, LogForm()) == (CLOCK_PUT_BACK,)
    mended = read_text(tmp_path, content, zone="Europe/Paris")
    assert mended.bad.count == 0
    assert [later - one for one, later in zip(mended.times, mended.times[1:], strict=False)] == [600_000_000] * 35


def test_another_unit_asks_for_it(tmp_path: Path) -> None:
    found = read_text(tmp_path, "time,voltage\n0,0.23 kV\n1,230 V\n")
    assert hints(found.bad, LogForm()) == (UNIT_TO_GIVE,)


@pytest.mark.parametrize("stamp", ["2024-10-27T02:00:00Z", "1700000000"])
def test_times_that_know_their_zone_do_not_ask_for_it(stamp: str) -> None:
    bad = BadRows({RowFault.BACKWARDS: 1}, (BadRow("f", 1, RowFault.BACKWARDS, stamp),))
    assert hints(bad, LogForm()) == ()


def test_nothing_to_say() -> None:
    assert hints(BadRows(), LogForm()) == ()
    back = BadRows({RowFault.BACKWARDS: 1}, (BadRow("f", 1, RowFault.BACKWARDS, "2024-10-27 02:00:00"),))
    assert hints(back, LogForm(zone="Europe/Paris")) == ()
    assert hints(back, LogForm()) == (CLOCK_PUT_BACK,)
