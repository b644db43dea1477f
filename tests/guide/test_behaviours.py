"""Every sentence of README, guide, help and DEVELOPERS that says what always, never or only happens is run somewhere.

A sentence with a number is tried in `test_claims`; the others stand in `behaviours`, with the test that runs them or
why none can. Those that nothing ran before are run here.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import product
from random import Random

import pytest

from tapplan.checks.finding import Severity
from tapplan.checks.rules import findings
from tapplan.cli.arguments import parser
from tapplan.control.table import control_table
from tapplan.design.file import load, parse
from tapplan.design.model import Design
from tapplan.errors import DesignError
from tapplan.network.circuit import circuit_of
from tapplan.network.turns import Kind, outcome
from tapplan.pages import exports
from tapplan.rating.built import built_table
from tapplan.rating.rated import ratings
from tests.checks.test_flight import commons_on_the_section
from tests.examples import ROOT, design
from tests.guide.behaviours import MEANT, RUN
from tests.guide.shown import DOCUMENTS
from tests.guide.test_claims import CLAIMS, SCENES, sentences
from tests.outside.loop import Settings
from tests.outside.test_loop import WEAK, course, line

F = Fraction
CLAIM = re.compile(
    r"\b(refused|refuses|never|always|nothing|keeps?|kept|exits?|says so|said so|same|whatever|only|cannot|unless"
    r"|whole or not)\b",
    re.IGNORECASE,
)


def why() -> Iterator[str]:
    """The sentences of what DEVELOPERS says of why things are as they are."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    part = text[text.index("Why things are as they are:") : text.index("## Glossary")]
    for paragraph in re.split(r"\n- ", part)[1:]:
        yield from re.split(r"(?<=[.:;]) ", " ".join(paragraph.split()))


def helped() -> Iterator[str]:
    """What every verb says of itself and of its options, each text once."""
    verbs = next(one for one in parser("0")._actions if one.dest == "verb")
    assert isinstance(verbs.choices, dict)
    texts = [[one.description or "", *(each.help or "" for each in one._actions)] for one in verbs.choices.values()]
    yield from dict.fromkeys(
        text for several in texts for text in several if not text.startswith("Examples") and "this help" not in text
    )


def flat(text: str) -> str:
    """On one line, without the marks of a quotation."""
    return " ".join(word for word in text.split() if word != ">")


@cache
def quoted(name: str) -> str:
    """What a document quotes, as the messages that stand beside each code."""
    return flat(" ".join(re.findall(r"^> .*$", DOCUMENTS[name].text, re.MULTILINE)))


@cache
def claimed() -> tuple[tuple[str, str], ...]:
    """Every sentence with a claim word, with its document; what a finding's example prints is quoted, and none."""
    told = [(name, one) for name in DOCUMENTS for one in sentences(name) if flat(one) not in quoted(name)]
    told += [("DEVELOPERS", one) for one in why()] + [("help", one) for one in helped()]
    return tuple(one for one in told if CLAIM.search(one[1]))


def test_every_behaviour_claimed_is_run_or_argued_away_and_nothing_else_is() -> None:
    meant = {one for several in MEANT.values() for one in several}
    known, used, missing = {*RUN, *meant}, set(), []
    for name, sentence in claimed():
        found = {one for one in known if one[0] == name and one[1] in sentence}
        numbered = any(one[0] == name and one[1] in sentence for one in (*CLAIMS, *SCENES))
        used |= found
        if not found and not numbered and "/test" not in sentence:
            missing.append(f"{name}: {sentence}")
    assert missing == []
    assert known - used == set()
    assert not {*RUN} & meant


def test_the_tests_named_are_collected() -> None:
    for one in set(RUN.values()):
        file, name = one.split("::")
        tree = ast.parse((ROOT / "tests" / f"{file}.py").read_text(encoding="utf-8"))
        found = [each.name for each in tree.body if isinstance(each, ast.FunctionDef)]
        assert found.count(name) == 1, one


# --- what nothing ran before ---


def branches(random: Random, points: list[str], relays: int) -> dict[str, tuple[str, str, str]]:
    """A tree of changeovers on an output: each throw stands on a tap, or is the common of one more relay."""
    made: dict[str, tuple[str, str, str]] = {}
    waiting = ["OUT"]
    for number in range(relays):
        com = waiting.pop(random.randrange(len(waiting)))
        throws = [f"m{number}a", f"m{number}b"]
        made[f"K{number}"] = (com, *throws)
        waiting += throws
    ends = {end: random.choice(points) for end in waiting}
    return {
        name: tuple(ends.get(end, end) for end in poles)  # type: ignore[misc]
        for name, poles in made.items()
    }


@pytest.mark.parametrize("seed", range(30))
def test_trees_and_chains_of_changeovers_short_nothing(seed: int) -> None:
    """A tree's every state joins its root to one leaf; a contact too many, and some state shorts turns."""
    random = Random(seed)
    taps = [("a", "N", "LINE", 200), ("b", "LINE", "B", 27), ("c", "B", "C", 31)]
    links = branches(random, ["LINE", "B", "C"], random.randint(1, 4))

    def kinds(relays: dict[str, tuple[str, str, str]]) -> set[Kind]:
        circuit = circuit_of(design(taps, relays, terminals=("LINE", "N", "OUT")))
        names = [*relays]
        every = product((False, True), repeat=len(names))
        driven = [[name for name, on in zip(names, code, strict=True) if on] for code in every]
        return {outcome(circuit, circuit.state(one)).kind for one in driven}

    assert Kind.SHORTED not in kinds(links)
    assert Kind.SHORTED in kinds({**links, "KX": ("B", "C", "LINE")})


def test_a_delay_before_the_return_only_slows_the_cycle() -> None:
    """A source so weak that leaving lifts the inlet to the return: with a wait of 300 ms it goes on, more slowly."""
    rounds = []
    for wait in (0, 300):
        text = WEAK.format(back=141).replace("return_v", f"return_after_ms = {wait}, return_v")
        assert f"return_after_ms = {wait}" in text
        settings = Settings(noise="greedy", start="boost", bounce="closed")
        rounds.append(max(len(course(text, line((0, volts)), settings, 6000).decisions) for volts in (141.0, 142.0)))
    assert rounds[0] > rounds[1] > 10


def hut(**changes: object) -> Design:
    return replace(load(ROOT / "designs" / "shepherds-hut.toml"), **changes)  # type: ignore[arg-type]


def test_the_magnetising_current_moves_the_output_by_hundredths_in_rate_alone() -> None:
    """The same stage without a grade has no magnetising current: the table stays, rate's output moves a little."""
    made = hut()
    assert made.core is not None
    plain = replace(made, core=replace(made.core, grade=None))
    tables = [control_table(one) for one in (made, plain)]
    assert [row.full for row in tables[0].rows] == [row.full for row in tables[1].rows]
    outputs = [[volts for band in ratings(table).bands for volts in band.loaded_v if volts] for table in tables]
    moved = [abs(one - other) for one, other in zip(*outputs, strict=True)]
    assert 0 < max(moved) < 0.1


def test_the_wire_that_is_chosen_drops_in_the_table_as_in_rate() -> None:
    """All wires left open, a core without iron data: full load pulls the output down alike, to a microohm's worth."""
    made = hut(windings=tuple(replace(one, wire_mm=None, strands=None) for one in hut().windings))
    assert made.core is not None
    table = built_table(
        replace(
            made,
            core=replace(made.core, grade=None),
            output=replace(made.output, power_factor=F(1), load_model="impedance"),
        )
    )
    drops = [float(1 - row.full / row.ratio) * 100 for row in table.rows if row.full and row.ratio]
    assert max(drops) > 0.3
    assert drops == pytest.approx([band.drop_pct for band in ratings(table).bands], abs=1e-3)


@pytest.mark.parametrize("file", ["broken", "loop", "replay", "rule", "stage"])
def test_what_stands_outside_imports_nothing_from_tapplan(file: str) -> None:
    tree = ast.parse((ROOT / "tests" / "outside" / f"{file}.py").read_text(encoding="utf-8"))
    named = [one.module or "" for one in ast.walk(tree) if isinstance(one, ast.ImportFrom)]
    named += [each.name for one in ast.walk(tree) if isinstance(one, ast.Import) for each in one.names]
    assert named
    assert [one for one in named if one.partition(".")[0] == "tapplan"] == []


def test_what_hangs_on_several_keys_waits_for_a_missing_one() -> None:
    """A band that names no relay of the design, beside a wrong key, and beside a title left out."""
    text = (ROOT / "designs" / "ridge-dispensary.toml").read_text(encoding="utf-8")
    wrong = text.replace('energised = ["KL", "KO"]', 'energised = ["KL", "KX"]')
    beside = [wrong.replace("noise_v", "nois_v"), re.sub(r"(?m)^title.*$", "", wrong)]
    told = []
    for one in beside:
        with pytest.raises(DesignError) as caught:
            parse(one, "made.toml")
        told.append([problem.key for problem in caught.value.problems])
    assert told == [["sensing.nois_v", "band[1].energised"], ["title"]]


def test_a_move_that_must_cross_a_short_is_exported_and_check_says_so() -> None:
    """A reversing pair with its commons on the section's ends: whatever moves first, its turns are bridged."""
    made = commons_on_the_section()
    assert [one.severity for one in findings(made, ["race-short"])] == [Severity.FAULT, Severity.FAULT]
    header = exports.FORMS["c"](control_table(made))
    assert "BAND_BOOST" in header
    assert "BAND_BUCK" in header
