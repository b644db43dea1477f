"""The wheel in a fresh environment of every Python that the package names: `python -m tests.packaged`.

There it does the README's main job, and every verb its first example, where the system allows without a network. A
Python that is not on this machine is named, and its turn left out.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tapplan.cli.verbs import VERBS, verb_of
from tests.examples import ROOT

MAIN_JOB = "tapplan table designs/ridge-dispensary.toml"
ALONE = ("unshare", "--net", "--map-root-user")
EXTRA = "pip install 'tapplan["  # what a verb says without the library of an extra
LOG = "time,voltage\n" + "".join(f"2026-01-01T00:{minute:02}:00Z,{190 + minute}\n" for minute in range(60))


@dataclass(frozen=True, slots=True)
class Failure:
    """A call that did not answer as it should, and what it said."""

    call: str
    told: str


def pythons() -> dict[str, str | None]:
    """The versions that the package names, each with where it is on this machine."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    versions = (one.rpartition(" :: ")[2] for one in project["classifiers"] if ":: Python :: 3." in one)
    return {version: _found(version) for version in versions}


def _found(version: str) -> str | None:
    if version == f"{sys.version_info.major}.{sys.version_info.minor}":
        return sys.executable
    installed = sorted((Path.home() / ".pyenv" / "versions").glob(f"{version}.*/bin/python"))
    named = shutil.which(f"python{version}")
    for one in (*map(str, installed), *([named] if named else [])):
        if subprocess.run([one, "-c", "import venv"], capture_output=True, check=False).returncode == 0:
            return one
    return None


def calls() -> Iterator[str]:
    """The main job, and the first example of every verb."""
    yield MAIN_JOB
    for verb in VERBS:
        yield verb_of(verb).EXAMPLES[0]


def tried(asked: Sequence[str], python: str, wheel: Path, folder: Path) -> list[Failure]:
    """What fails in a fresh environment of this Python, in a folder that has the shipped designs and nothing else."""
    subprocess.run([python, "-m", "venv", str(folder / "venv")], check=True)
    commands = folder / "venv" / "bin"
    pip = (str(commands / "python"), "-m", "pip", "--quiet", "--disable-pip-version-check")
    subprocess.run([*pip, "install", str(wheel)], check=True)
    shutil.copytree(ROOT / "designs", folder / "designs")
    shutil.copy(folder / "designs" / "ridge-dispensary.toml", folder / "old.toml")
    shutil.copy(folder / "designs" / "signal-box.toml", folder / "new.toml")
    (folder / "feeder.csv").write_text(LOG, encoding="utf-8")
    return [failure for call in asked if (failure := _fails(call, folder))]


@cache
def _may_be_alone() -> bool:
    if shutil.which(ALONE[0]) is None:
        return False
    return subprocess.run([*ALONE, "true"], capture_output=True, check=False).returncode == 0


def _fails(call: str, folder: Path) -> Failure | None:
    """A verdict with nothing on standard error is right, and so is naming the extra that is not installed."""
    within = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"} | {"PYTHONWARNINGS": "error"}
    within["PATH"] = f"{folder / 'venv' / 'bin'}:{within['PATH']}"
    command = [*(ALONE if _may_be_alone() else ()), "bash", "-c", call]
    done = subprocess.run(
        command, cwd=folder, env=within, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    is_right = done.returncode in (0, 1) and not done.stderr
    return None if is_right or EXTRA in done.stderr else Failure(call, f"exit {done.returncode}: {done.stderr}")


def wheel_in(folder: Path) -> Path:
    """A wheel of this tree, built without a network."""
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, capture_output=True, check=True)
    (wheel,) = folder.glob("*.whl")
    return wheel


def main() -> int:
    """Tries them side by side; 1 if anything failed."""
    asked, known = tuple(calls()), pythons()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wheel = wheel_in(folder)
        with ThreadPoolExecutor() as side_by_side:
            running = {
                version: side_by_side.submit(tried, asked, python, wheel, _made(folder / version))
                for version, python in known.items()
                if python is not None
            }
        failed = {version: one.result() for version, one in running.items()}
    for version in known:
        print(f"Python {version}: {_told(failed.get(version), len(asked))}")
    return int(any(failed.values()))


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def _told(failures: list[Failure] | None, count: int) -> str:
    if failures is None:
        return "stepped aside, it is not on this machine"
    if failures:
        return "".join(f"\n  {one.call}\n    {one.told}" for one in failures)
    return f"{count} calls answered" + (", without a network" if _may_be_alone() else "")


if __name__ == "__main__":
    sys.exit(main())
