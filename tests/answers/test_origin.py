"""What the file leaves to tapplan: said where thresholds were placed, and whether bands were chosen."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers.origin import origin_told
from tapplan.control.table import control_table
from tests.examples import PAIR, TAPPED, design

CHOSEN = "The file leaves them out: bands chosen and thresholds placed by tapplan."
PLACED = "The file leaves them out: missing thresholds placed by tapplan."


@pytest.mark.parametrize(
    ("placed", "derived", "told"), [(True, True, CHOSEN), (True, False, PLACED), (False, False, "")]
)
def test_what_was_left_out_is_told(placed: bool, derived: bool, told: str) -> None:
    table: Any = SimpleNamespace(placed=placed, derived=derived)
    assert origin_told(table) == told


@pytest.mark.parametrize(
    ("bands", "told"),
    [
        ((), CHOSEN),
        ((("boost", ("KL",)), ("direct", ())), PLACED),
        ((("boost", ("KL",), 180, 220), ("direct", (), 210, 270)), ""),
    ],
)
def test_a_file_that_states_its_holds_leaves_nothing_out(bands: Any, told: str) -> None:
    assert origin_told(control_table(design(TAPPED, PAIR, bands=bands))) == told
