"""Writing that is broken off, at every step, at any instant, by a full disk: the old whole file or the new one."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from tapplan import wholefile
from tapplan.cli import main as command
from tests.examples import ROOT
from tests.fuzz.corpus import AGE_NS, NAMES, lay_out, shelf
from tests.fuzz.ending import DEAD, run

# The ways in which calls write, with the quickest call of each: a file, the design itself, a folder, a stream of
# rows, several files, and lines added to what is there. tests/cli/test_failures.py shows that no verb has another.
WRITES = {
    "a file": ("new out --force", "out"),
    "the design": ("bands {design} --write --force", NAMES["design"]),
    "a folder": ("export {design} --to firmware -o out --force", "out"),
    "rows": ("trace quiet --days 0.01 --to csv -o out --force", "out"),
    "several files": ("trace quiet --days 0.01 --to csv --sites 2 -o out --force", "out"),
    "a search": ("fit {request} --keep out", "out"),
    "runs": ("replay {design} {log} --keep out", "out"),
    "the session": ("isolate {design} --resume {session} --ask", NAMES["session"]),
}
ADDED_TO = ("a search", "runs")  # these grow line by line


def words(name: str) -> list[str]:
    return [NAMES[word[1:-1]] if word[0] == "{" else word for word in WRITES[name][0].split()]


def content(path: Path) -> dict[str, bytes] | None:
    """A file, or the files of a folder; None where there is nothing."""
    if path.is_dir():
        return {one.name: one.read_bytes() for one in sorted(path.iterdir()) if one.name[:9] != ".tapplan-"}
    return {"": path.read_bytes()} if path.exists() else None


def spare(folder: Path) -> list[str]:
    return [one.name for one in folder.rglob(".tapplan-*")]


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a sound file of each kind, in which calls are made."""
    monkeypatch.chdir(tmp_path)
    lay_out({kind: files[0] for kind, files in shelf().files.items() if kind in NAMES})
    monkeypatch.setattr("sys.stdin.readline", lambda: "", raising=False)
    return tmp_path


def forked(work: Callable[[], int]) -> int:
    """The exit code of work in a process of its own, or minus the signal that ended it."""
    child = os.fork()
    if not child:
        code = 99
        try:
            null = os.open(os.devnull, os.O_RDWR)
            for number in (0, 1, 2):
                os.dup2(null, number)
            sys.stdin = open(os.devnull)  # noqa: SIM115 - the process ends
            code = work()
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return -os.WTERMSIG(status) if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)


def is_kept(name: str, found: dict[str, bytes] | None, old: dict[str, bytes] | None, new: dict[str, bytes]) -> bool:
    """Whether what is there is the old or the new; of what grows line by line, a beginning of the new."""
    if found in (old, new):
        return True
    if name == "several files":  # files one after the other, each whole
        return all(
            found is not None and part in (new.get(one), (old or {}).get(one)) for one, part in (found or {}).items()
        )
    return name in ADDED_TO and found is not None and new[""].startswith(found[""])


@pytest.mark.parametrize("name", [name for name in WRITES if name != "the session"])
def test_a_process_killed_at_any_step_leaves_the_old_or_the_new(name: str, place: Path) -> None:
    """And what it leaves beside it, the next call takes away."""
    target, call, backup = place / WRITES[name][1], words(name), place.parent / f"{place.name}-old"
    assert forked(lambda: command.main(call)) in (0, 1)
    if target.is_file() and name not in ADDED_TO and target.name == "out":
        target.write_bytes(b"old")
    old = content(target)
    (shutil.copytree if target.is_dir() else shutil.copyfile)(target, backup)
    assert forked(lambda: command.main(call)) in (0, 1)
    new = content(target)
    assert new is not None
    code, step = DEAD, 0
    while code == DEAD:
        step += 1
        _put_back(target, backup)
        code = forked(lambda: run(step, call))  # noqa: B023 - called at once
        assert is_kept(name, content(target), old, new), f"step {step}"
        if (
            step % 3 == 0 or code != DEAD
        ):  # a call takes away all that is there, so that not each must be followed by one
            assert forked(lambda: command.main(call)) in (0, 1), f"after step {step}"
            assert content(target) == new
            assert spare(place) == [], f"after step {step}"
    assert code in (0, 1)
    assert step > 4 or name in ADDED_TO


def _put_back(target: Path, backup: Path) -> None:
    """What was there before."""
    if target.is_dir():
        shutil.rmtree(target)
    else:
        target.unlink(missing_ok=True)
    (shutil.copytree if backup.is_dir() else shutil.copyfile)(backup, target)


SMALL_DISK = 40  # bytes that a file may have


def _full() -> None:
    """No file may grow beyond a few bytes: the system refuses the rest, as a full disk does."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (SMALL_DISK, SMALL_DISK))


@pytest.mark.parametrize("is_there", [False, True])
@pytest.mark.parametrize("name", WRITES)
def test_a_disk_that_is_full_is_one_sentence_and_leaves_what_was_there(
    name: str, is_there: bool, place: Path
) -> None:
    target, call = place / WRITES[name][1], words(name)
    if is_there and target.name == "out":
        assert forked(lambda: command.main(call)) in (0, 1)
        if name in ADDED_TO:  # all but the last line, which is to be added
            kept = target.read_bytes().splitlines(keepends=True)
            target.write_bytes(b"".join(kept[:-1]))
    old = content(target)

    read, write = os.pipe()  # for a file would be full as well

    def limited() -> int:
        os.dup2(write, 2)
        sys.stderr = open(2, "w", closefd=False)  # noqa: SIM115 - the process ends
        _full()
        code = command.main(call)
        sys.stderr.flush()
        return code

    code = forked(limited)
    os.close(write)
    with open(read) as said:
        told = said.read().strip()
    assert code == 2
    assert told.count("\n") == 0
    assert "cannot be written (File too large)" in told
    assert told.startswith(target.name)
    assert spare(place) == []
    now = content(target)
    assert now == old or (name in (*ADDED_TO, "several files") and is_kept(name, now, old, old or {"": b""}))


def test_a_process_killed_at_any_instant_leaves_the_old_or_the_new(place: Path) -> None:
    """Not at a step of its own but whenever it comes: here while megabytes are on their way onto the disk."""
    target, chance = place / "out", Random("any instant")
    contents = [b"old" * 500_000, b"new!" * 500_000]
    target.write_bytes(contents[0])
    ends = set()
    for _ in range(12):
        child = os.fork()
        if not child:
            while True:
                for one in contents:
                    wholefile.write_bytes(str(target), one, force=True)
        time.sleep(chance.uniform(0, 0.05))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        assert target.read_bytes() in contents
        ends.add(len(spare(place)))
    wholefile.write_bytes(str(target), contents[0], force=True)
    assert spare(place) == []
    assert ends <= {0, 1}


def test_a_system_without_such_locks_writes_all_the_same(place: Path) -> None:
    """As one where `fcntl` cannot be loaded: the module is loaded anew without it."""
    code = (
        "import sys; sys.modules['fcntl'] = None\n"
        "from tapplan import wholefile\n"
        "assert wholefile.fcntl is None\n"
        "for content in (b'one', b'two'):\n"
        "    wholefile.write_bytes('plain', content, force=True)\n"
        "from pathlib import Path\n"
        "wholefile.write_folder(Path('folder'), {'a': b'1'}); wholefile.write_folder(Path('folder'), {'b': b'2'})\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=place, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False
    )
    assert done.returncode == 0
    assert (place / "plain").read_bytes() == b"two"
    assert content(place / "folder") == {"b": b"2"}
    assert spare(place) == []


def test_a_kept_log_hangs_on_the_age_of_its_file(place: Path) -> None:
    """Else the runs kept here would be of another log, and nothing read of them."""
    assert (place / NAMES["log"]).stat().st_mtime_ns == AGE_NS
