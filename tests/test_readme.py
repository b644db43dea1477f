"""The README: what it shows is what the commands print, every verb stands in its table, and it stays short.

`python -m tests.test_readme` writes the present output into the README and the guide, and makes the generated topics
again.
"""

from __future__ import annotations

import re

from tapplan.cli.verbs import VERBS
from tests.examples import ROOT
from tests.guide.generated import MADE, generated
from tests.guide.shown import DOCUMENTS, TOPICS, refreshed
from tests.roommap import write_map

README = DOCUMENTS["README"]

LINES = 150


def test_every_block_shows_the_real_output() -> None:
    assert refreshed(README) == README.text


def test_the_readme_is_short() -> None:
    assert len(README.text.splitlines()) <= LINES


def test_the_readme_lists_every_verb() -> None:
    text = README.text
    assert [verb for verb in VERBS if text.count(f"| `{verb}` |") != 1] == []


def test_exactly_two_set_up_commands_and_ci_runs_the_second() -> None:
    commands = re.findall(r"```sh\n(.*?)\n```", README.text, re.DOTALL)
    assert len(commands) == 2
    assert "test_command=$(" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


if __name__ == "__main__":
    for name in MADE:
        TOPICS[name].write_text(generated(name), encoding="utf-8")
    for document in DOCUMENTS.values():
        document.write_again()
    write_map()
