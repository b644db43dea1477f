"""The JSON Schema of the design file, from the very model that validates it."""

from __future__ import annotations

from typing import Any

from tapplan.design import standards
from tapplan.design.explained import adapter


def json_schema() -> dict[str, Any]:
    """A JSON Schema (draft 2020-12) that an editor can complete and check design files with.

    Rules that need more than one table, such as a band naming an unknown relay, are beyond a schema;
    `tapplan check` has those.
    """
    schema = adapter().json_schema(by_alias=True)
    mains = schema["$defs"]["Mains"]
    standard = mains["properties"]["standard"]
    mains["properties"]["standard"] = {
        "enum": [entry.key for entry in standards.SUPPLIES],
        **{key: standard[key] for key in ("description", "examples")},
    }
    del mains["required"]
    mains["oneOf"] = [
        {
            "required": ["standard"],
            "not": {"anyOf": [{"required": [key]} for key in ("nominal_v", "range_v")]},
        },
        {"required": ["nominal_v", "range_v"], "not": {"required": ["standard"]}},
    ]
    schema["properties"]["winding"]["minItems"] = 1
    del schema["properties"]["winding"]["default"]
    schema["required"] = [*schema["required"], "winding"]
    _forbid_null(schema)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "tapplan design file, format 1",
        **{key: value for key, value in schema.items() if key != "title"},
    }


def _forbid_null(node: Any) -> None:
    """TOML has no null: an optional key is left out, never set to nothing."""
    if isinstance(node, dict):
        options = node.get("anyOf")
        if isinstance(options, list) and {"type": "null"} in options:
            options.remove({"type": "null"})
            if len(options) == 1:
                del node["anyOf"]
                node.update(options[0])
        if node.get("default", 0) is None:
            del node["default"]
        for child in node.values():
            _forbid_null(child)
    elif isinstance(node, list):
        for child in node:
            _forbid_null(child)
