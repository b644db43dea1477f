"""A test that asserts only in loops and met none of them fails the run that holds it."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.asserted import only_in_branches

HOLLOW = """
import pytest

@pytest.mark.parametrize("found", [[], {found}])
def test_each(found):
    for one in found:
        assert one > 0
"""


def ran(folder: Path, text: str, *options: str) -> subprocess.CompletedProcess[str]:
    (folder / "test_these.py").write_text(text)
    call = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-p",
        "tests.asserted",
        "-p",
        "no:cacheprovider",
        "--rootdir",
        str(folder),
    ]
    asked = ["-o", "enable_assertion_pass_hook=true", "-c", "/dev/null", *options, str(folder / "test_these.py")]
    return subprocess.run([*call, *asked], capture_output=True, text=True, check=False, cwd=Path(__file__).parents[1])


@pytest.mark.parametrize("options", [(), ("-n", "2")])
def test_a_test_whose_loops_are_all_empty_fails_the_run(tmp_path: Path, options: tuple[str, ...]) -> None:
    hollow = ran(tmp_path, HOLLOW.format(found="()"), *options)
    assert hollow.returncode == 1
    assert "test_each: asserts only inside loops or branches, and none of them was run" in hollow.stdout


def test_of_some_cases_alone_nothing_is_asked(tmp_path: Path) -> None:
    assert ran(tmp_path, HOLLOW.format(found="()"), "-k", "found0").returncode == 0


def test_it_says_how_often_it_asserted_over_all_cases(tmp_path: Path) -> None:
    sound = ran(tmp_path, HOLLOW.format(found="(1, 2, 3)"))
    assert sound.returncode == 0
    assert "1 tests, at least 3 assertions; fewest 3, in test_these.py::test_each" in sound.stdout


def test_a_loop_is_counted_until_it_is_enough(tmp_path: Path) -> None:
    assert "at least 200 assertions" in ran(tmp_path, HOLLOW.format(found="range(1, 5000)")).stdout


def test_one_sure_assertion_or_one_error_that_must_come_is_enough(tmp_path: Path) -> None:
    file = tmp_path / "test_those.py"
    file.write_text(
        "def test_sure():\n  assert xs\n  for x in xs: assert x\n"
        "def test_raising():\n  with pytest.raises(ValueError): f()\n  for x in xs: assert x\n"
        "def test_block():\n  with open(f) as g:\n    assert g\n"
        "def test_branch():\n  if xs: assert xs\n"
        "def test_loop():\n  for x in xs:\n    with pytest.raises(ValueError): f(x)\n"
        "def test_literal():\n  for x in (1, 2): assert x\n"
        "def test_range():\n  for x in range(3): assert x\n"
        "def test_some_range():\n  for x in range(n): assert x\n"
        "def test_calling():\n  judge(xs)\n"
    )
    assert only_in_branches(file) == {"test_branch", "test_loop", "test_some_range"}
