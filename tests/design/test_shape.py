"""What is said of a key follows from the model alone, for every table that a file can hold."""

from collections.abc import Iterator
from dataclasses import dataclass, make_dataclass
from fractions import Fraction
from typing import Annotated, Any

import pytest

from tapplan.design.explained import explained
from tapplan.design.marks import Called, Says
from tapplan.design.model import Design
from tapplan.design.numbers import Positive
from tapplan.design.objection import nearest
from tapplan.design.reader import read_table
from tapplan.design.shape import Nested, Path, Several, keys_of, shape_of, table_at


def nested(table: type, path: Path = ()) -> Iterator[tuple[Path, type]]:
    """Every table of the format under its path in a file; of a list the first."""
    yield path, table
    for key in keys_of(table):
        match key.shape:
            case Nested(inner):
                yield from nested(inner, (*path, key.written))
            case Several(Nested(inner)):
                yield from nested(inner, (*path, key.written, 0))
            case _:
                pass


TABLES = list(nested(Design))


def holding(path: Path, table: dict[str, Any]) -> Any:
    """A parsed file that holds just this table at this path."""
    inner: Any = table
    for part in reversed(path):
        inner = [inner] if isinstance(part, int) else {part: inner}
    return inner


def test_there_are_tables_in_tables() -> None:
    paths = [path for path, _ in TABLES]
    assert ("relay", 0, "poles", 0) in paths
    assert ("sequence", "move", 0) in paths


@pytest.mark.parametrize(("path", "table"), TABLES, ids=[table.__name__ for _, table in TABLES])
def test_an_unknown_key_is_answered_with_the_keys_of_its_own_table(path: Path, table: type) -> None:
    known = [key.written for key in keys_of(table)]
    for key in known:
        wrong = f"{key}z"
        told = {one.path: one for one in explained(holding(path, {wrong: 1})).objections}[*path, wrong]
        assert told.found == f'unknown key "{wrong}"'
        assert told.accepted == f"keys of this table: {', '.join(known)}"
        assert told.hint == nearest(wrong, known)
        assert told.hint.removeprefix("nearest known: ").strip('"') in known


@pytest.mark.parametrize(("path", "table"), TABLES, ids=[table.__name__ for _, table in TABLES])
def test_a_path_leads_to_its_table(path: Path, table: type) -> None:
    assert table_at(Design, path) is table
    assert table_at(Design, (*path, "nowhere")) is None


@dataclass(frozen=True, kw_only=True)
class Lamp:
    volts_v: Annotated[Positive, Says("The volts of the lamp.", unit="V", place="at the lamp", example="12")]


@dataclass(frozen=True, kw_only=True)
class Bench:
    lamp: Annotated[Lamp | None, Says("A lamp on the bench.")] = None
    spares: Annotated[tuple[Lamp, ...], Called("spare"), Says("Lamps in the drawer.")] = ()


def test_a_table_added_to_a_model_is_known_with_its_keys_from_its_annotation_alone() -> None:
    assert table_at(Bench, ("lamp",)) is table_at(Bench, ("spare", 3)) is Lamp
    assert [key.written for key in keys_of(Bench)] == ["lamp", "spare"]
    assert read_table(Bench, {"lamp": {"volts_v": 12}}) == Bench(lamp=Lamp(volts_v=Fraction(12)))
    assert read_table(Bench, {"lamp": {"volt_v": 12}}) is None


def test_a_key_that_says_nothing_of_itself_is_refused_when_the_model_is_read() -> None:
    silent = make_dataclass("Silent", [("turns", int)])
    with pytest.raises(TypeError, match="turns: a key that says nothing"):
        keys_of(silent)


def test_a_type_that_no_file_can_hold_is_refused_when_the_model_is_read() -> None:
    with pytest.raises(TypeError, match="no file holds"):
        shape_of(dict[str, int])
    with pytest.raises(TypeError, match="without a mark"):
        shape_of(tuple[int, int])
