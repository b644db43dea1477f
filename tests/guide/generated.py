"""Topics that are made from the code: each by its name, with what makes it."""

from __future__ import annotations

from collections.abc import Callable

from tests.guide.findings import findings_topic

GENERATED: dict[str, Callable[[], str]] = {"findings": findings_topic}
