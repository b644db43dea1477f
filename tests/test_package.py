"""What users are given: a wheel and a source archive, whole, the same from the same tree, and good for an answer."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from dataclasses import dataclass
from email.parser import HeaderParser
from pathlib import Path

import pytest

from tapplan import guide
from tapplan.version import __version__
from tests import dependencies
from tests.examples import ROOT

CLEAN = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "SOURCE_DATE_EPOCH")}


@dataclass(frozen=True)
class Built:
    """The two files that are published."""

    wheel: Path
    source: Path

    def names(self) -> set[str]:
        """Every file of the wheel."""
        return set(zipfile.ZipFile(self.wheel).namelist())

    def sources(self) -> set[str]:
        """Every file of the source archive, without the folder that all lie in."""
        with tarfile.open(self.source) as archive:
            return {one.name.partition("/")[2] for one in archive.getmembers()}


def build(tree: Path, into: Path) -> Built:
    """Both, built of a tree as they are published, without a network."""
    command = [sys.executable, "-m", "hatchling", "build", "-d", str(into)]
    done = subprocess.run(command, cwd=tree, env=CLEAN, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    (wheel,), (source,) = into.glob("*.whl"), into.glob("*.tar.gz")
    return Built(wheel, source)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    if os.environ.get("CI") != "true":
        pytest.importorskip("hatchling", reason="hatchling, of the extra test, is not installed")
    return build(ROOT, tmp_path_factory.mktemp("built"))


def files_in(folder: str) -> set[str]:
    """The files of a folder of this tree that a person wrote."""
    found = (file for file in (ROOT / folder).rglob("*") if file.is_file())
    return {file.relative_to(ROOT).as_posix() for file in found if "__pycache__" not in file.parts}


def test_the_wheel_has_the_whole_package_its_guide_and_the_shipped_designs(built: Built) -> None:
    theirs = {name for name in files_in("designs") if name.endswith(".toml")}
    wanted = files_in("tapplan") | {f"tapplan/{name}" for name in theirs}
    assert {name for name in built.names() if name.startswith("tapplan/")} == wanted
    assert {"tapplan/py.typed", "tapplan/guide/changes.md", "tapplan/designs/requests/joinery.toml"} <= wanted
    assert not [
        name for name in built.names() if not name.startswith(("tapplan/", f"tapplan-{__version__}.dist-info/"))
    ]


def test_the_wheel_says_what_it_is(built: Built) -> None:
    within = zipfile.ZipFile(built.wheel)
    told = HeaderParser().parsestr(within.read(f"tapplan-{__version__}.dist-info/METADATA").decode())
    assert (told["Name"], told["Version"]) == ("tapplan", __version__)
    assert (told["License-Expression"], told["License-File"]) == ("MIT", "LICENSE")
    assert within.read(f"tapplan-{__version__}.dist-info/licenses/LICENSE") == (ROOT / "LICENSE").read_bytes()
    entry = within.read(f"tapplan-{__version__}.dist-info/entry_points.txt").decode()
    assert entry.split() == ["[console_scripts]", "tapplan", "=", "tapplan.__main__:run"]


def test_the_source_archive_has_what_the_tests_read(built: Built) -> None:
    wanted = files_in("tapplan") | files_in("tests") | files_in("designs")
    wanted |= {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".ci/run"}
    assert wanted - built.sources() == set()
    assert [name for name in built.sources() if "__pycache__" in name] == []


def test_who_builds_the_source_archive_elsewhere_has_the_same_files(built: Built, tmp_path: Path) -> None:
    """Another folder, another time, and files that only their owner may read."""
    before = os.umask(0o077)
    try:
        with tarfile.open(built.source) as archive:
            archive.extractall(tmp_path, filter="tar")
        (tree,) = tmp_path.iterdir()
        for file in tree.rglob("*"):
            file.chmod(file.stat().st_mode & 0o700)
        again = build(tree, tmp_path / "again")
    finally:
        os.umask(before)
    for one, other in ((built.wheel, again.wheel), (built.source, again.source)):
        assert hashlib.sha256(one.read_bytes()).digest() == hashlib.sha256(other.read_bytes()).digest()


def test_what_is_in_the_wheel_answers_where_there_is_no_clone(built: Built, tmp_path: Path) -> None:
    zipfile.ZipFile(built.wheel).extractall(tmp_path / "there")  # noqa: S202 - built a moment ago
    (tmp_path / "bench").mkdir()

    def answered(*words: str) -> str:
        command = [sys.executable, *words]
        folder, within = tmp_path / "bench", CLEAN | {"PYTHONPATH": str(tmp_path / "there")}
        done = subprocess.run(command, cwd=folder, env=within, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, ""), done.stderr
        return done.stdout

    assert answered("-c", "import tapplan; print(tapplan.__file__)").startswith(str(tmp_path / "there"))
    assert answered("-m", "tapplan", "--version") == f"tapplan {__version__}\n"
    assert answered("-m", "tapplan", "new", "--like", "ridge-dispensary", "ridge.toml") == "wrote ridge.toml\n"
    written = (tmp_path / "bench" / "ridge.toml").read_bytes()
    assert written == (ROOT / "designs" / "ridge-dispensary.toml").read_bytes()
    assert answered("-m", "tapplan", "table", "ridge.toml").startswith("Truth table: Ridge dispensary")
    assert answered("-m", "tapplan", "guide", "changes").startswith("Changes")


def test_each_kind_of_shipped_file_is_given_by_name_and_no_other() -> None:
    from tapplan.design.shipped import shipped
    from tapplan.errors import UsageError

    files = list((ROOT / "designs").rglob("*.toml"))
    assert len({file.stem for file in files}) == len(files)  # a name stands for one file
    for file in files:
        assert shipped(file.stem) == file.read_text(encoding="utf-8")
    with pytest.raises(UsageError, match=r'design "harbour"; accepted: .*, joinery, .*"harbour-crane"'):
        shipped("harbour")


def test_the_changes_end_with_the_present_version() -> None:
    told = re.findall(r"^## (\S+)$", guide.text("changes"), re.MULTILINE)
    assert told == sorted(told, key=lambda one: [int(part) for part in one.split(".")])
    assert __version__.startswith(f"{told[-1]}.")


def test_every_python_named_is_new_enough_and_tried() -> None:
    """Those of the classifiers are tried by `tests.packaged`, and this one is among them or newer."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = [one.rpartition(" :: ")[2] for one in project["classifiers"] if re.search(r":: 3\.\d+$", one)]
    assert f">={named[0]}" == project["requires-python"]
    assert named == [f"3.{minor}" for minor in range(11, 11 + len(named))]
    assert "tests.packaged" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_list_of_dependencies_is_what_their_packages_say() -> None:
    missing = sorted(dependencies.named().keys() - dependencies.chain(dependencies.named()))
    if missing and os.environ.get("CI") != "true":
        pytest.skip(f"not installed: {', '.join(missing)}")
    assert dependencies.LIST.read_text(encoding="utf-8") == dependencies.listed()


def test_no_licence_in_the_whole_chain_binds_who_uses_tapplan() -> None:
    there = dependencies.chain(dependencies.named())
    assert len(there) >= 20
    licences = {name: dependencies.licence_of(name) for name in sorted(there)}
    assert {name: told for name, told in licences.items() if not dependencies.is_accepted(told)} == {}


@pytest.mark.parametrize("licence", ["", "GPL-3.0-only", "MIT AND AGPL-3.0-only", "BSD-3-Clause AND Proprietary"])
def test_a_licence_that_binds_is_seen(licence: str) -> None:
    assert not dependencies.is_accepted(licence)
    assert dependencies.is_accepted("GPL-2.0-only OR MIT")
