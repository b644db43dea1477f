"""All that is wrong in a file the reader refused: pydantic's validation by the same marks.

The one module that loads pydantic, and it is loaded only where there is something to explain or a schema to publish.
Each class of the model has a twin whose annotations say in pydantic's words what `shape` finds in the model's own; a
twin that is valid becomes the model's value.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field, make_dataclass
from functools import cache, partial
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainValidator,
    StringConstraints,
    TypeAdapter,
    ValidationError,
    WithJsonSchema,
)
from pydantic_core import ErrorDetails, PydanticCustomError

from tapplan.design.keys import described, plain
from tapplan.design.marks import Taken, Text
from tapplan.design.model import Design
from tapplan.design.objection import Objection, nearest, shown
from tapplan.design.shape import (
    Both,
    Flag,
    Key,
    Nested,
    Options,
    Path,
    Several,
    Shape,
    keys_of,
    table_at,
)
from tapplan.errors import escaped

_ACCEPTED = {
    "missing": "a value: this key is required",
    "string_type": "a text in quotes",
    "tuple_type": "a list in brackets",
    "bool_type": "true or false",
    "dataclass_type": "a table of keys",
    "too_short": "at least one entry",
}
_COUNTED = {"string_too_long": "a shorter text, at most {} characters", "too_long": "at most {} entries"}


@cache
def adapter() -> TypeAdapter[Design]:
    """The validator of a whole file."""
    return TypeAdapter(_twin(Design))


@dataclass(frozen=True, slots=True)
class Explanation:
    """Every objection to the tables of a file, and the design, mended where a guess brings no false report.

    The design is None where the rest cannot be checked.
    """

    objections: list[Objection]
    mended: Design | None


def explained(tables: Mapping[str, Any]) -> Explanation:
    """What is wrong with the tables of a file."""
    try:
        return Explanation([], adapter().validate_python(tables))
    except ValidationError as error:
        details = [detail for detail in error.errors(include_url=False) if not _of_entries(detail)]
        return Explanation([_objection(detail, tables) for detail in details], _mended(tables, details))


def _of_entries(detail: ErrorDetails) -> bool:
    """Whether a list is only called too short because its entries, told apart, are wrong."""
    return detail["type"] == "too_short" and bool(detail["input"])


@cache
def _twin(kind: type) -> Any:
    """The class that pydantic validates in place of one of the model's."""
    twin = make_dataclass(
        kind.__name__,
        [(key.name, _annotation(key), _default(key)) for key in keys_of(kind)],
        kw_only=True,
        namespace={"__pydantic_config__": ConfigDict(extra="forbid"), "__doc__": kind.__doc__},
    )
    return Annotated[twin, AfterValidator(partial(_made, kind))]


def _made(kind: type, twin: object) -> object:
    return kind(**{key.name: getattr(twin, key.name) for key in keys_of(kind)})


def _annotation(key: Key) -> Any:
    taken = _type(key.shape)
    about = Field(
        alias=key.written,
        description=described(key),
        examples=[tomllib.loads(f"x = {key.says.example}")["x"]] if key.says.example else None,
        json_schema_extra=None if key.required or key.default is None else {"default": plain(key.default)},
    )
    return Annotated[taken | None if key.default is None else taken, about]


def _default(key: Key) -> Any:
    return field() if key.required else field(default=key.default)


def _type(shape: Shape) -> Any:
    """A shape in pydantic's words."""
    match shape:
        case Taken():
            return Annotated[Any, PlainValidator(partial(_taken, shape)), WithJsonSchema(dict(shape.schema))]
        case Text():
            limits = StringConstraints(strict=True, pattern=f"^{shape.pattern}$", max_length=shape.most)
            return Annotated[str, limits, BeforeValidator(partial(_text, shape))]
        case Flag():
            return Annotated[bool, Field(strict=True)]
        case Options(values):
            options: Any = Literal[values]
            return Annotated[options, BeforeValidator(partial(_option, shape))]
        case Both(each, accepted):
            inner: Any = tuple(map(_type, each))
            return Annotated[tuple[inner], BeforeValidator(partial(_two, accepted))]
        case Several(each, entries):
            one: Any = _type(each)
            return Annotated[tuple[one, ...], Field(min_length=entries.least or None, max_length=entries.most)]
        case Nested(table):
            return _twin(table)


def _taken(shape: Taken, found: object) -> object:
    value = shape.read(found)
    if value is None:
        raise PydanticCustomError("taken", "{accepted}", {"accepted": shape.accepted, "stand_in": shape.stand_in})
    return value


def _text(shape: Text, found: object) -> object:
    """The text, if it is one; its length is for the constraints beside."""
    if isinstance(found, str) and not re.fullmatch(shape.pattern, found):
        raise PydanticCustomError("text", "{accepted}", {"accepted": shape.accepted})
    return found


def _option(shape: Options, found: object) -> object:
    """The value, if it is one of these: `true` is not 1."""
    if not any(type(found) is type(one) and found == one for one in shape.values):
        raise PydanticCustomError("option", "{accepted}", {"accepted": shape.accepted})
    return found


def _two(accepted: str, found: object) -> object:
    if not isinstance(found, list) or len(found) != 2:
        raise PydanticCustomError("pair", "{accepted}", {"accepted": accepted})
    return found


def _objection(detail: ErrorDetails, tables: Mapping[str, Any]) -> Objection:
    """What one validation error says, in the words of the file."""
    path = _path_in_file(detail["loc"], tables)
    kind = detail["type"]
    if kind == "unexpected_keyword_argument":
        table = table_at(Design, path[:-1])
        known = [] if table is None else [key.written for key in keys_of(table)]
        key = str(path[-1])
        found = f'unknown key "{escaped(key)}"'
        return Objection(path, found, f"keys of this table: {', '.join(known)}", nearest(key, known))
    accepted = _ACCEPTED.get(kind) or detail["msg"]
    if kind == "missing" and path in (("mains", "nominal_v"), ("mains", "range_v")):
        accepted = "nominal_v with range_v, or a published supply as standard"
    if kind in _COUNTED:
        accepted = _COUNTED[kind].format(detail["ctx"]["max_length"])
    return Objection(path, "nothing" if kind == "missing" else shown(detail["input"]), accepted)


def _path_in_file(loc: tuple[int | str, ...], tables: Mapping[str, Any]) -> Path:
    """The error's place with the validator's own inner steps left out."""
    path: list[str | int] = []
    inner: object = tables
    for number, part in enumerate(loc):
        if isinstance(inner, Mapping) and part in inner:  # noqa: SIM114 - the types differ
            inner = inner[part]
        elif isinstance(inner, list) and isinstance(part, int) and part < len(inner):
            inner = inner[part]
        elif number != len(loc) - 1:
            continue
        path.append(part)
    return tuple(path)


def _mended(tables: Mapping[str, Any], details: list[ErrorDetails]) -> Design | None:
    """The design with its malformed numbers replaced and unknown keys taken out, so that the rest is checked too.

    Only such problems are mended: a guess at a missing name would bring false reports.
    """
    mended = deepcopy(dict(tables))
    for detail in details:
        path = _path_in_file(detail["loc"], tables)
        holder: Any = mended
        for part in path[:-1]:
            holder = holder[part]
        if detail["type"] == "taken" and detail["ctx"]["stand_in"] is not None:
            holder[path[-1]] = detail["ctx"]["stand_in"]
        elif detail["type"] == "unexpected_keyword_argument":
            del holder[path[-1]]
        else:
            return None
    return adapter().validate_python(mended)  # which stand-ins and keys of the model cannot fail
