"""The list of all states: every one, in counting order, whichever way it was worked out."""

from __future__ import annotations

from itertools import product

import pytest

from tapplan.network.circuit import circuit_of
from tapplan.network.states import BULK_FROM_RELAYS, MOST_RELAYS_EACH, each_state
from tapplan.network.turns import outcome
from tests.examples import chain


@pytest.mark.parametrize("relays", [1, 3, BULK_FROM_RELAYS - 1, BULK_FROM_RELAYS, BULK_FROM_RELAYS + 1])
def test_every_combination_of_relays_is_there_once_the_last_relay_changing_fastest(relays: int) -> None:
    made = circuit_of(chain(relays))
    found = [state.energised for state in each_state(made)]
    bits = product((False, True), repeat=relays)
    assert found == [tuple(name for name, on in zip(made.relays, each, strict=True) if on) for each in bits]


@pytest.mark.parametrize("relays", [BULK_FROM_RELAYS - 1, BULK_FROM_RELAYS])
def test_each_has_the_outcome_of_the_circuit_that_its_contacts_close(relays: int) -> None:
    """From `BULK_FROM_RELAYS` on they are worked out together; the solver of one state knows nothing of that."""
    made = circuit_of(chain(relays))
    for state in each_state(made):
        alone = outcome(made, made.state(state.energised))
        assert (state.kind, state.ratio) == (alone.kind, getattr(alone, "ratio", None))


def test_more_than_can_be_listed_are_refused_before_the_first() -> None:
    made = circuit_of(chain(MOST_RELAYS_EACH + 1))
    with pytest.raises(ValueError, match="too many to list"):
        next(each_state(made))
