"""The guide: every block is run, links lead somewhere, commands are commands, generated topics are up to date."""

from __future__ import annotations

import re
import shlex
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tapplan import guide
from tapplan.checks.rules import CODES
from tapplan.cli.arguments import parser
from tapplan.cli.verbs import VERBS, WITHOUT_DESIGN
from tapplan.design.schema import json_schema
from tapplan.errors import UsageError
from tests.checks.test_rules import DEFECTS
from tests.examples import ROOT
from tests.guide.examples import EXAMPLES, WITHOUT_EXAMPLE
from tests.guide.filled import WIDTH, filled
from tests.guide.findings import SEVERITIES
from tests.guide.generated import MADE, generated
from tests.guide.shown import BLOCK, DOCUMENTS, TOPICS, commands, refreshed

SPAN = re.compile(r"`([^`\n]+)`")
LINK = re.compile(r"\]\(([^)#]+)[^)]*\)")


def prose(text: str) -> str:
    """The text without its blocks."""
    return re.sub(r"^```.*?^```$", "", text, flags=re.DOTALL | re.MULTILINE)


def flat(text: str) -> str:
    """The text on one line."""
    return " ".join(text.split())


@pytest.mark.parametrize("name", TOPICS)
def test_every_block_shows_what_comes_out_now(name: str) -> None:
    assert refreshed(DOCUMENTS[name]) == DOCUMENTS[name].text


@pytest.mark.parametrize("name", MADE)
def test_a_generated_topic_is_what_the_code_gives_now(name: str) -> None:
    assert generated(name) == guide.text(name)


def test_every_document_of_the_package_is_a_topic() -> None:
    files = {path.stem for path in (ROOT / "tapplan" / "guide").glob("*.md")}
    assert files == set(guide.NAMES)


def test_every_topic_has_a_title_and_a_summary_of_its_own() -> None:
    found = guide.topics()
    assert [one.name for one in found] == list(guide.NAMES)
    for one in found:
        assert one.name.removesuffix("s") in one.title.casefold()
        assert one.summary[0].isupper()
        assert one.summary.endswith(".")
        assert 20 < len(one.summary) < 200
    assert len({one.summary for one in found}) == len(found)


def test_a_topic_that_there_is_not_is_refused_with_the_nearest() -> None:
    with pytest.raises(UsageError) as caught:
        guide.text("repair")
    assert str(caught.value).startswith('found topic "repair"; accepted: designer, repairer, ')
    assert str(caught.value).endswith('(nearest known: "repairer")')
    with pytest.raises(UsageError):
        guide.text("../designer")


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_lead_somewhere(name: str) -> None:
    document = DOCUMENTS[name]
    for target in LINK.findall(prose(document.text)):
        assert (document.path.parent / target).exists(), target


def test_the_readme_names_every_topic_and_links_to_it() -> None:
    links = set(LINK.findall(DOCUMENTS["README"].text))
    assert [name for name in guide.NAMES if f"tapplan/guide/{name}.md" not in links] == []


def test_every_shipped_file_is_told_of() -> None:
    told = "".join(document.text for name, document in DOCUMENTS.items() if name not in MADE)
    shipped = [path.relative_to(ROOT).as_posix() for path in (ROOT / "designs").rglob("*.*")]
    assert len(shipped) > 10
    assert [file for file in shipped if file not in told] == []


def test_the_limits_of_every_verb_that_answers_about_a_design_are_told() -> None:
    told = {
        verb for line in guide.text("limits").splitlines() if line.startswith("## `") for verb in SPAN.findall(line)
    }
    assert told == VERBS.keys() - {"new", "standards", "schema", "guide", "completion"}


def test_the_caution_stands_in_full_in_the_readme_and_where_hands_go_to_a_circuit() -> None:
    whole = [name for name, document in DOCUMENTS.items() if "can kill or start fires" in flat(document.text)]
    assert whole == ["README", "repairer"]
    assert flat(guide.text("repairer")).index("can kill") < flat(guide.text("repairer")).index("tapplan at")


@pytest.mark.parametrize("name", DOCUMENTS)
def test_lines_are_no_wider_than_a_reader_has(name: str) -> None:
    widest = 120 if name == "README" else WIDTH
    lines = [line for line in prose(DOCUMENTS[name].text).splitlines() if not line.startswith("|")]
    assert [line for line in lines if len(line) > widest] == []


@pytest.mark.parametrize("name", TOPICS)
def test_filling_leaves_what_is_filled_and_loses_no_word(name: str) -> None:
    text = guide.text(name)
    assert filled(text) == text
    long = prose(text).replace("\n  ", " ")
    assert filled(long).split() == long.split()


# --- commands in the text: each parses, each option exists ---

PLACES = {"VOLTS": "230", "FROM:TO:STEP": "150:280:5", "N": "1", "S": "30", "CODE": "dead-zone"}


def inline(text: str) -> Iterator[list[str]]:
    """Every command in a code span, its placeholders filled in."""
    for span in SPAN.findall(prose(text)):
        words = shlex.split(span)
        if words[:1] == ["tapplan"] and len(words) > 1 and not words[1].isupper():
            yield [PLACES.get(word, word) for word in words[1:]]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_commands_in_the_text_are_commands(name: str) -> None:
    for words in inline(DOCUMENTS[name].text):
        if len(words) == 1:
            assert words[0] in {*VERBS, "guide"}
        elif words[0] in VERBS:  # `guide` comes with the verb itself
            needs_design = words[0] not in WITHOUT_DESIGN and words[1].startswith("-")
            full = [words[0], *(["DESIGN"] if needs_design else []), *words[1:]]
            full = full if len(full) > 2 or words[0] != "compare" else [*full, "NEW"]
            parser("0").parse_args(full)


def options() -> set[str]:
    """Every option of every verb."""
    verbs = next(action for action in parser("0")._actions if action.dest == "verb")
    assert verbs.choices is not None
    return {option for verb in verbs.choices.values() for option in verb._option_string_actions}  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_options_in_the_text_exist(name: str) -> None:
    known = options()
    text = DOCUMENTS[name].text
    named = {
        word for span in [*SPAN.findall(prose(text)), *commands(text)] for word in span.split() if word[:2] == "--"
    }
    assert named - known == set()


def without_required(schema: Any) -> Any:
    """The schema with nothing required, so that it judges parts of a file."""
    if isinstance(schema, dict):
        kept = {key: value for key, value in schema.items() if key not in ("required", "oneOf")}
        return {key: without_required(value) for key, value in kept.items()}
    return [without_required(one) for one in schema] if isinstance(schema, list) else schema


@pytest.mark.parametrize("name", [name for name in DOCUMENTS if name not in MADE])
def test_parts_of_a_design_file_have_keys_that_exist(name: str) -> None:
    judge = Draft202012Validator(without_required(json_schema()))
    for kind, _, body in BLOCK.findall(DOCUMENTS[name].text):
        if kind == "toml":
            assert [error.message for error in judge.iter_errors(tomllib.loads(body))] == []


# --- the topic of findings ---


def test_every_code_is_explained_with_its_example() -> None:
    assert [one.code for one in EXAMPLES] == [code for code in CODES if code not in WITHOUT_EXAMPLE]
    assert re.findall(r"^## (.*)$", guide.text("findings"), re.MULTILINE) == list(CODES)
    assert set(SEVERITIES) == set(CODES)


@pytest.mark.parametrize("defect", DEFECTS, ids=[f"{one.code} {one.severity}" for one in DEFECTS])
def test_the_severity_told_is_one_that_a_seeded_defect_has(defect: Any) -> None:
    assert defect.severity in SEVERITIES[defect.code]


@pytest.mark.parametrize("example", EXAMPLES, ids=[one.code for one in EXAMPLES])
def test_an_example_is_as_grave_as_is_told(example: Any) -> None:
    assert example.finding.severity in SEVERITIES[example.code]
