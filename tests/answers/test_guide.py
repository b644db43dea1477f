"""Topics of the guide, one by one and as a list."""

from __future__ import annotations

import pytest

from tapplan.answers.guide import guide_topic, guide_topics
from tapplan.errors import UsageError
from tapplan.guide import NAMES
from tests.examples import ROOT


def test_every_topic_stands_in_the_list_with_the_first_heading_of_its_document() -> None:
    rows = guide_topics().topics
    assert [one.topic for one in rows] == list(NAMES)
    for one in rows:
        first, *_ = (ROOT / "tapplan" / "guide" / f"{one.topic}.md").read_text(encoding="utf-8").splitlines()
        assert first == f"# {one.title}"
        assert one.summary.endswith(".")


@pytest.mark.parametrize("name", NAMES)
def test_a_topic_is_its_document_under_its_own_title(name: str) -> None:
    one = guide_topic(name)
    assert one.topic == name
    assert one.text == (ROOT / "tapplan" / "guide" / f"{name}.md").read_text(encoding="utf-8")
    assert one.text.startswith(f"# {one.title}\n")
    assert one.headline == f"Guide: {one.title}"


def test_a_topic_that_there_is_not_is_refused() -> None:
    with pytest.raises(UsageError, match='found topic "repair"'):
        guide_topic("repair")
