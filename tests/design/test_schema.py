"""The published schema and the program's own validation accept and refuse the same files."""

import tomllib
from typing import Any

import jsonschema
import pytest

from tapplan.design.file import parse
from tapplan.design.schema import json_schema
from tapplan.design.starter import STARTER
from tapplan.errors import DesignError
from tests.design.test_file import BAD
from tests.examples import SHIPPED

VALIDATOR = jsonschema.Draft202012Validator(json_schema())


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(json_schema())


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_shipped_designs_conform(file: Any) -> None:
    VALIDATOR.validate(tomllib.loads(file.read_text()))


# What the told message of a bad value contains when the fault takes more than one key, or an order, to see.
BEYOND_A_SCHEMA = (
    *("again", "both ends on", "KC", "2 times", "Z9", "twice", "OUTT", "output: found", "its own com"),
    *("[275, 187]", "253, 253", "244, 214", "[53, 47]", "lower end of 0", "6/0", "600.111", "NaN"),
)


@pytest.mark.parametrize(("old", "new", "told"), BAD, ids=[new[:40] for _, new, _ in BAD])
def test_what_the_program_refuses_the_schema_refuses_unless_it_takes_more_than_one_key(
    old: str, new: str, told: str
) -> None:
    text = STARTER.replace(old, new, 1)
    with pytest.raises(DesignError):
        parse(text)
    if any(words in told for words in BEYOND_A_SCHEMA):
        return
    try:
        raw = tomllib.loads(text)
    except ValueError:
        return
    assert not VALIDATOR.is_valid(raw)


@pytest.mark.parametrize("change", [("standard", "uk-230"), ("standard", "nowhere")])
def test_a_standard_replaces_nominal_and_range(change: tuple[str, str]) -> None:
    raw = tomllib.loads(STARTER)
    raw["mains"] = {"standard": change[1]}
    assert VALIDATOR.is_valid(raw) == (change[1] == "uk-230")
    raw["mains"] |= {"nominal_v": 230}
    assert not VALIDATOR.is_valid(raw)
