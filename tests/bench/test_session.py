"""A session at the bench goes into its file and comes back; what is no session is refused by line."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from tapplan.bench.isolation import Isolation, Reading
from tapplan.bench.phrase import Names
from tapplan.bench.readings import reading_of
from tapplan.bench.session import Deed, Skipped, line_told, load_session, session_text
from tapplan.bench.values import MOST, SOMETIMES
from tapplan.design.fingerprint import fingerprint
from tapplan.errors import DesignError
from tests.bench.stages import table
from tests.examples import SHIPPED

FIRST = {path.stem: path for path in SHIPPED}
RIDGE = table(FIRST["ridge-dispensary"])
NAMES = Names.of(RIDGE)
OWN = f"fingerprint {fingerprint(RIDGE.stated)}\n"


def done(*texts: str) -> list[Deed]:
    return [reading_of(text, NAMES) for text in texts]


def test_a_session_comes_back_as_it_went(tmp_path: Path) -> None:
    deeds = done("off: coil-ohms KL = 410,125 ohm", "line 200 V: output = 226", "off: ohms 'lug Q' KO.nc = OL")
    deeds.insert(1, Skipped(reading_of("off: coil-ohms KO = unknown", NAMES).measure))
    deeds.append(reading_of("off coils KL:\n click KL = sometimes", NAMES))
    file = tmp_path / "bench.txt"
    file.write_text(session_text(RIDGE, deeds))
    found = load_session(str(file), RIDGE)
    assert [type(one) for one in found] == [type(one) for one in deeds]
    assert [one.measure for one in found] == [one.measure for one in deeds]
    values = [one.value for one in found if isinstance(one, Reading)]
    assert values == [Fraction("410.125"), Fraction(226), MOST, SOMETIMES]
    assert file.read_text().splitlines()[2] == "# skipped off: coil-ohms KO"
    assert session_text(RIDGE, found) == file.read_text()


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_measurement_comes_back_without_its_words(path: Path, tmp_path: Path) -> None:
    stage = table(path)
    deeds: list[Deed] = []
    for measure in Isolation(stage).measures:
        deeds += [
            Reading(measure, Fraction(1)),
            Reading(measure, None),
            Reading(measure, SOMETIMES),
            Skipped(measure),
        ]
    file = tmp_path / "bench.txt"
    file.write_text(session_text(stage, deeds))
    found = load_session(str(file), stage)
    assert [one.measure for one in found] == [one.measure for one in deeds]
    assert [getattr(one, "value", 0) for one in found] == [getattr(one, "value", 0) for one in deeds]


def test_remarks_blank_lines_and_other_ends_of_line_are_taken(tmp_path: Path) -> None:
    file = tmp_path / "bench.txt"
    file.write_bytes(f"\ufeff{OWN}\n# after lunch\n  off: coil-ohms KL = 410  \n".replace("\n", "\r\n").encode())
    assert [line_told(one) for one in load_session(str(file), RIDGE)] == ["off: coil-ohms KL = 410"]


def test_every_bad_line_is_told_by_its_number(tmp_path: Path) -> None:
    file = tmp_path / "bench.txt"
    file.write_text(f"{OWN}off: coil-ohms KL = 410\nnonsense\n# skipped off: coil-ohms KX\noff: ohms A = 1\n")
    with pytest.raises(DesignError) as refused:
        load_session(str(file), RIDGE)
    assert [problem.line for problem in refused.value.problems] == [3, 4, 5]
    assert "bench.txt:3: found" in str(refused.value)


def test_another_revision_is_refused_unless_asked_for(tmp_path: Path) -> None:
    file = tmp_path / "bench.txt"
    file.write_text("fingerprint 000000000000\noff: coil-ohms KL = 410\n")
    with pytest.raises(DesignError, match="another revision"):
        load_session(str(file), RIDGE)
    assert len(load_session(str(file), RIDGE, any_revision=True)) == 1


@pytest.mark.parametrize("text", ["", "off: coil-ohms KL = 410\n", "title = 'x'\n"])
def test_what_is_no_session_is_refused(text: str, tmp_path: Path) -> None:
    file = tmp_path / "bench.txt"
    file.write_text(text)
    with pytest.raises(DesignError, match="no fingerprint in the first line; accepted: a session"):
        load_session(str(file), RIDGE, any_revision=True)
    with pytest.raises(DesignError, match="no such file; accepted: a session"):
        load_session(str(tmp_path / "none.txt"), RIDGE)
