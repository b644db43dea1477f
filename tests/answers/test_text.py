"""Answers that are one text or one object: they have no table."""

from __future__ import annotations

from tapplan.answers.text import Schema


def test_a_schema_has_no_table() -> None:
    assert Schema.parts() == ()
    assert Schema(schema={"type": "object"}).as_json()["schema"] == {"type": "object"}
