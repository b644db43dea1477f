"""Every key of the design file is explained, and what is said of it holds."""

import re
import tomllib
from decimal import Decimal
from fractions import Fraction
from typing import Any

import jsonschema
import pytest

from tapplan.design.keys import TableRows, design_file_topic, plain, rows, tables
from tapplan.design.marks import Taken
from tapplan.design.model import Design
from tapplan.design.reader import read_table, read_value
from tapplan.design.schema import json_schema
from tapplan.design.shape import Key, Nested, Several, keys_of

EVERY = [(table, key) for table in tables() for key in table.keys]
NAMES = [f"{table.name}.{key.written}" for table, key in EVERY]
SCHEMA = json_schema()


def opens_a_table(key: Key) -> bool:
    return isinstance(key.shape.each if isinstance(key.shape, Several) else key.shape, Nested)


@pytest.mark.parametrize(("table", "key"), EVERY, ids=NAMES)
def test_a_key_is_explained_in_a_sentence(table: TableRows, key: Key) -> None:
    assert re.fullmatch(r"[A-Z].{10,}\.", key.says.meaning)
    assert bool(key.says.example) or opens_a_table(key)


@pytest.mark.parametrize(("table", "key"), EVERY, ids=NAMES)
def test_an_example_is_accepted_at_its_place(table: TableRows, key: Key) -> None:
    if key.says.example:
        written = tomllib.loads(f"x = {key.says.example}", parse_float=Decimal)["x"]
        assert read_value(key.shape, written) is not None


@pytest.mark.parametrize(("table", "key"), EVERY, ids=NAMES)
def test_what_stands_in_for_a_malformed_value_would_be_accepted(table: TableRows, key: Key) -> None:
    shape = key.shape.each if isinstance(key.shape, Several) else key.shape
    if isinstance(shape, Taken) and shape.stand_in is not None:
        assert read_value(shape, shape.stand_in) is not None


UNITS = {"v": "V", "ms": "ms", "ohm": "ohm", "mm": "mm", "mm2": "mm2", "hz": "Hz", "va": "VA", "a": "A", "w": "W",
         "pct": "%", "t": "T", "kg": "kg", "c": "degrees Celsius", "a2s": "A2s", "per_w": "K/W", "a_mm2": "A/mm2",
         "ppm_k": "ppm/K"}  # fmt: skip


@pytest.mark.parametrize(("table", "key"), EVERY, ids=NAMES)
def test_the_unit_is_the_one_in_the_name_and_volts_have_a_place(table: TableRows, key: Key) -> None:
    endings = [ending for ending in UNITS if key.written.endswith(f"_{ending}")]
    if endings:
        assert key.says.unit == UNITS[max(endings, key=len)]
    if key.says.unit in ("V", "A"):
        assert key.says.place


@pytest.mark.parametrize(("table", "key"), EVERY, ids=NAMES)
def test_a_default_that_no_value_says_is_said_in_words(table: TableRows, key: Key) -> None:
    if key.default is None and not opens_a_table(key):
        assert key.says.default
    if not key.required and key.default is not None:
        written = plain(key.default)
        assert written is not None
        assert read_value(key.shape, Decimal(str(written)) if isinstance(written, float) else written) == key.default


@pytest.mark.parametrize("table", tables(), ids=lambda table: table.name)
def test_the_example_of_a_table_is_read_as_that_table(table: TableRows) -> None:
    found: Any = tomllib.loads(table.example, parse_float=Decimal)
    kind: Any = Design
    for part in filter(None, table.name.split(".")):
        shape = next(key.shape for key in keys_of(kind) if key.written == part)
        inner = shape.each if isinstance(shape, Several) else shape
        assert isinstance(inner, Nested)
        kind, found = inner.table, found[part]
        found = found[0] if isinstance(found, list) else found
    if kind is Design:
        assert set(found) == {"format", "title"}
    else:
        assert read_table(kind, found) is not None


def test_keys_in_place_of_others_are_left_out_of_the_example() -> None:
    mains = next(table for table in tables() if table.name == "mains")
    assert "standard" not in mains.example
    assert "standard" in [row.key for row in mains.rows]


def test_rows_hold_every_key_that_has_a_value_of_its_own() -> None:
    found = rows()
    assert len({(row.table, row.key) for row in found}) == len(found)
    assert ("sequence.move", "from") in {(row.table, row.key) for row in found}
    assert ("fit", "objective") in {(row.table, row.key) for row in found}
    by_key = {(row.table, row.key): row for row in found}
    row = by_key["sensing", "hysteresis_v"]
    assert (row.default, row.unit, row.place, row.example) == ("0", "V", "at the inlet", "4")
    assert by_key["relay", "operate_ms"].default == "at most 15 (common practice, no source)"
    assert by_key["terminals", "line"].default == "required"
    assert by_key["sequence", "order"].accepted == '"together" or "safest"'


def test_the_topic_has_a_section_for_each_table_and_a_line_for_each_key() -> None:
    topic = design_file_topic()
    for table in tables()[1:]:
        assert f"\n## `{table.header}`\n" in topic
        assert table.meaning in topic
    assert len(re.findall(r"(?m)^- `", topic)) == len(rows())
    for row in rows():
        end = "Required." if row.default == "required" else f"Without it: {row.default}."
        told = f"{row.meaning} Accepted: {row.accepted}. {end}"
        assert any(one.startswith(f"- `{row.key}`") and one.endswith(told) for one in topic.splitlines())


def node(table: TableRows, key: Key) -> Any:
    """What the schema says of a key."""
    here: Any = SCHEMA
    for part in filter(None, table.name.split(".")):
        here = here["properties"][part]
        here = here.get("items", here)
        here = SCHEMA["$defs"][here["$ref"].rpartition("/")[2]] if "$ref" in here else here
    return here["properties"][key.written]


@pytest.mark.parametrize(("table", "key"), EVERY, ids=NAMES)
def test_the_schema_says_the_same_and_takes_its_own_examples_and_defaults(table: TableRows, key: Key) -> None:
    said = node(table, key)
    assert said["description"].startswith(key.says.meaning)
    whole = {"$defs": SCHEMA["$defs"], **said}
    for value in said.get("examples", []):
        jsonschema.Draft202012Validator(whole).validate(value)
    assert ("examples" in said) == bool(key.says.example)
    if "default" in said:
        jsonschema.Draft202012Validator(whole).validate(said["default"])
    left_out = not key.required and key.written not in SCHEMA["required"]
    assert ("default" in said) == (left_out and key.default is not None)


def test_the_contract_of_defaults() -> None:
    """What the format promises of keys left out, beside the model."""
    by_key = {(row.table, row.key): row.default for row in rows()}
    stated = {("sensing", "detector"): '"rms"', ("sensing", "at"): '"input"', ("output", "load_model"): '"impedance"',
              ("mains", "source_ohm"): "0", ("sensing", "window_cycles"): "1", ("sequence", "order"): '"together"',
              ("backup", "return_after_ms"): "0", ("coil_supply", "drop_v"): "1.4"}  # fmt: skip
    assert {key: by_key[key] for key in stated} == stated
    assert plain(Fraction(7, 5)) == 1.4
