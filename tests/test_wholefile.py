"""Files that are written whole or not at all: what is there before, while and after, by the file system alone."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tapplan import wholefile
from tapplan.errors import OutputError
from tapplan.wholefile import replaceable, whole_file, write_bytes, write_folder
from tests.examples import ROOT

IS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


def left(folder: Path) -> set[str]:
    return {one.name for one in folder.iterdir()}


def refusal(path: Path | str, content: bytes = b"new", *, force: bool = True) -> str:
    """What is said about a file that cannot be written, without its name."""
    with pytest.raises(OutputError) as caught:
        write_bytes(str(path), content, force=force)
    return str(caught.value).removeprefix(f"{path}: ")


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk with room for 64 kB; where nothing can be mounted the test steps aside."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(place)], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip("no disk can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


# --- a new file, and one that is replaced ---


def test_a_file_is_there_with_all_of_it_when_the_block_ends(tmp_path: Path) -> None:
    with whole_file(str(tmp_path / "a"), force=False) as stream:
        stream.write(b"some")
        assert not (tmp_path / "a").exists()
    assert (tmp_path / "a").read_bytes() == b"some"
    assert left(tmp_path) == {"a"}


def test_a_new_file_has_the_mode_of_any_other(tmp_path: Path) -> None:
    (tmp_path / "other").write_text("")
    write_bytes(str(tmp_path / "a"), b"", force=False)
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "other").stat().st_mode


def test_the_content_is_on_the_disk_before_it_has_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a machine that loses its power can have the name without the content."""
    order: list[str] = []
    forced, moved = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda handle: (order.append("forced"), forced(handle)))
    monkeypatch.setattr(Path, "replace", lambda one, to: (order.append("named"), moved(one, to)))
    write_bytes(str(tmp_path / "a"), b"new", force=False)
    assert order == ["forced", "named", "forced"]  # the content, its name, and the folder with that name


def test_a_file_that_is_replaced_keeps_its_mode_and_its_link(tmp_path: Path) -> None:
    file, link = tmp_path / "a", tmp_path / "link"
    file.write_text("old")
    file.chmod(0o640)
    link.symlink_to("a")
    write_bytes(str(link), b"new", force=True)
    assert link.is_symlink()
    assert (file.read_bytes(), file.stat().st_mode & 0o777) == (b"new", 0o640)
    assert left(tmp_path) == {"a", "link"}


@pytest.mark.skipif(not IS_ROOT, reason="only root can give a file away")
def test_a_file_of_somebody_else_stays_theirs(tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_text("old")
    file.chmod(0o604)
    os.chown(file, 12345, 12346)
    write_bytes(str(file), b"new", force=True)
    there = file.stat()
    assert (there.st_uid, there.st_gid, there.st_mode & 0o777) == (12345, 12346, 0o604)


def test_a_link_that_leads_nowhere_leads_to_the_new_file(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("a")
    write_bytes(str(tmp_path / "link"), b"new", force=False)
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "a").read_bytes() == b"new"


@pytest.mark.parametrize("letter", ["x", "Ω"])
def test_a_name_as_long_as_a_file_system_takes(letter: str, tmp_path: Path) -> None:
    name = letter * (255 // len(letter.encode()))
    write_bytes(str(tmp_path / name), b"one", force=False)
    write_bytes(str(tmp_path / name), b"two", force=True)
    assert (tmp_path / name).read_bytes() == b"two"
    assert left(tmp_path) == {name}


def test_a_file_that_somebody_puts_there_meanwhile_is_kept(tmp_path: Path) -> None:
    file = tmp_path / "a"
    writing = whole_file(str(file), force=False)
    writing.__enter__().write(b"new")
    file.write_text("theirs")
    with pytest.raises(OutputError, match="it is kept unless --force"):
        writing.__exit__(None, None, None)
    assert file.read_text() == "theirs"
    assert left(tmp_path) == {"a"}


# --- several names ---


def test_every_name_of_a_file_sees_the_new_content(tmp_path: Path) -> None:
    file, name = tmp_path / "a", tmp_path / "b"
    for content in (b"longer than what was there before", b"short", b""):
        if not file.exists():
            file.write_text("what was there")
            file.chmod(0o640)
            os.link(file, name)
        write_bytes(str(name), content, force=True)
        assert file.samefile(name)
        assert (file.read_bytes(), file.stat().st_mode & 0o777) == (content, 0o640)
        assert left(tmp_path) == {"a", "b"}


@pytest.mark.parametrize("error", [OSError(5, "Input/output error"), KeyboardInterrupt(), SystemExit(143)])
def test_a_file_of_several_names_is_as_before_when_writing_it_fails(
    error: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, name = tmp_path / "a", tmp_path / "b"
    file.write_text("what was there, and longer")
    os.link(file, name)
    copied, calls = wholefile.shutil.copyfileobj, []

    def broken(content: object, into: object, length: int) -> None:
        calls.append(length)
        if len(calls) == 1:
            into.write(b"half")  # type: ignore[attr-defined]
            raise error
        copied(content, into, length)

    monkeypatch.setattr(wholefile.shutil, "copyfileobj", broken)
    expected = OutputError if isinstance(error, OSError) else type(error)
    with pytest.raises(expected):
        write_bytes(str(file), b"new", force=True)
    assert len(calls) == 2
    assert file.read_text() == name.read_text() == "what was there, and longer"
    assert left(tmp_path) == {"a", "b"}


def test_what_cannot_be_put_back_is_kept_beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "a"
    file.write_text("what was there")
    os.link(file, tmp_path / "b")

    def broken(content: object, into: object, length: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(wholefile.shutil, "copyfileobj", broken)
    assert refusal(file) == "cannot be written (Input/output error)"
    (kept,) = [one for one in tmp_path.iterdir() if one.name.startswith(".tapplan-")]
    assert (kept.suffix, kept.read_text()) == (".old", "what was there")
    monkeypatch.undo()
    write_bytes(str(file), b"new", force=True)
    assert left(tmp_path) == {"a", "b"}


# --- what is no place for a file ---


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("folder", "found a directory; accepted: a file name"),
        ("folder/", "found a directory; accepted: a file name"),
        ("to-folder", "found a directory; accepted: a file name"),
        ("pipe", "found a pipe or device; accepted: the name of an ordinary file"),
        ("circle", "cannot be written (Too many levels of symbolic links)"),
        ("file/under", "cannot be written (Not a directory)"),
        ("none/a", "cannot be written (No such file or directory)"),
        ("x" * 256, "cannot be written (File name too long)"),
        ("a\0b", "cannot be written (a name holds no NUL)"),
    ],
)
def test_what_is_no_place_for_a_file_is_told_in_one_line(name: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("kept")
    (tmp_path / "circle").symlink_to("circle")
    (tmp_path / "to-folder").symlink_to("folder")
    os.mkfifo(tmp_path / "pipe")
    before = left(tmp_path)
    with pytest.raises(OutputError) as caught:
        write_bytes(f"{tmp_path}/{name}", b"new", force=True)
    assert str(caught.value) == f"{tmp_path}/{name}".replace("\0", "\\x00") + f": {said}"
    assert left(tmp_path) == before
    assert (tmp_path / "file").read_text() == "kept"


@pytest.mark.parametrize("name", ["", "new/"])
def test_a_name_of_no_file_is_refused(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(OutputError) as caught:
        write_bytes(name, b"new", force=True)
    assert str(caught.value) == f'found "{name}"; accepted: a file name'
    assert left(tmp_path) == set()


def test_a_name_is_told_with_what_a_terminal_would_obey_as_escapes(tmp_path: Path) -> None:
    folder = tmp_path / "a\n\x1b[31m\u202eb\udcff"
    folder.mkdir()
    with pytest.raises(OutputError) as caught:
        replaceable(str(folder), force=False)
    assert str(caught.value) == f"{tmp_path}/a\\n\\x1b[31m\\u202eb\\udcff: found a directory; accepted: a file name"


# --- disks and folders that do not take it ---


def test_a_full_disk_keeps_what_was_there(tiny_disk: Path) -> None:
    file = tiny_disk / "a"
    file.write_text("kept")
    assert refusal(file, b"x" * 200_000) == "cannot be written (No space left on device)"
    assert file.read_text() == "kept"
    assert left(tiny_disk) == {"a"}


def test_a_full_disk_keeps_a_file_of_several_names(tiny_disk: Path) -> None:
    """The new content goes onto the disk beside the old one, but not twice."""
    file = tiny_disk / "a"
    file.write_text("kept" * 100)
    os.link(file, tiny_disk / "b")
    assert refusal(file, b"x" * 40_000) == "cannot be written (No space left on device)"
    assert (tiny_disk / "b").read_text() == "kept" * 100
    assert left(tiny_disk) == {"a", "b"}


def test_a_disk_that_is_only_read_keeps_what_is_there(tiny_disk: Path) -> None:
    (tiny_disk / "a").write_text("kept")
    subprocess.run(["mount", "-o", "remount,ro", str(tiny_disk)], check=True)
    assert refusal(tiny_disk / "a") == "cannot be written (Read-only file system)"
    assert refusal(tiny_disk / "b") == "cannot be written (Read-only file system)"
    assert (tiny_disk / "a").read_text() == "kept"
    assert left(tiny_disk) == {"a"}


NOT_ROOT = """
import os, sys
from tapplan.errors import OutputError
from tapplan.wholefile import write_bytes
os.chdir(sys.argv[1])
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
for name in ("a", "b"):
    try:
        write_bytes(name, b"new", force=True)
    except OutputError as error:
        print(error)
"""


def test_a_folder_that_nobody_may_write_in(tmp_path: Path) -> None:
    """By a process that is not root, for root may write everywhere."""
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "a").write_text("kept")
    folder.chmod(0o555)
    done = subprocess.run(
        [sys.executable, "-c", NOT_ROOT, str(folder)], capture_output=True, text=True, check=False, cwd=ROOT
    )
    denied = "cannot be written (Permission denied)"
    assert (done.stdout, done.stderr) == (f"a: {denied}\nb: {denied}\n", "")
    assert (folder / "a").read_text() == "kept"
    assert left(folder) == {"a"}


# --- a writer that is ended ---

SLOW = """
import signal, sys, time
signal.signal(signal.SIGHUP, signal.SIG_DFL)  # the tests may run where it is ignored, as under nohup
from tapplan.wholefile import whole_file
with whole_file(sys.argv[1], force=True) as stream:
    stream.write(b"half")
    stream.flush()
    print("begun", flush=True)
    time.sleep(60)
"""


def ended_by(number: signal.Signals, file: Path, writing: str = SLOW) -> int:
    """The exit code of a writer that is ended in the middle."""
    with subprocess.Popen([sys.executable, "-c", writing, str(file)], stdout=subprocess.PIPE, cwd=ROOT) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"begun\n"
        writer.send_signal(number)
        return writer.wait(timeout=30)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize("old", [None, "kept"])
def test_a_signal_to_end_leaves_nothing_behind(number: signal.Signals, old: str | None, tmp_path: Path) -> None:
    file = tmp_path / "a"
    if old is not None:
        file.write_text(old)
    assert ended_by(number, file) == 128 + number  # as a shell tells of it
    assert left(tmp_path) == (set() if old is None else {"a"})
    assert old is None or file.read_text() == old


def test_signals_are_taken_only_while_a_file_is_written(tmp_path: Path) -> None:
    before = [signal.getsignal(one) for one in wholefile.ENDING]
    with whole_file(str(tmp_path / "a"), force=False):
        assert [signal.getsignal(one) for one in wholefile.ENDING] != before
    assert [signal.getsignal(one) for one in wholefile.ENDING] == before


def test_who_has_a_use_for_a_signal_keeps_it(tmp_path: Path) -> None:
    seen: list[int] = []
    before = signal.signal(signal.SIGTERM, lambda number, frame: seen.append(number))
    try:
        with whole_file(str(tmp_path / "a"), force=False) as stream:
            os.kill(os.getpid(), signal.SIGTERM)
            stream.write(b"whole")
    finally:
        signal.signal(signal.SIGTERM, before)
    assert seen == [signal.SIGTERM]
    assert (tmp_path / "a").read_bytes() == b"whole"


def test_what_a_killed_writer_leaves_is_gone_with_the_next(tmp_path: Path) -> None:
    file = tmp_path / "a"
    assert ended_by(signal.SIGKILL, file) == -signal.SIGKILL
    (stale,) = left(tmp_path)
    assert stale.startswith(".tapplan-")
    assert stale.endswith(".new")
    write_bytes(str(tmp_path / "other"), b"", force=False)
    assert left(tmp_path) == {stale, "other"}  # not its own: another may still be writing there
    write_bytes(str(file), b"whole", force=False)
    assert left(tmp_path) == {"a", "other"}


def test_two_writers_of_one_file_do_not_take_from_each_other(tmp_path: Path) -> None:
    file = tmp_path / "a"
    with subprocess.Popen([sys.executable, "-c", SLOW, str(file)], stdout=subprocess.PIPE, cwd=ROOT) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"begun\n"
        write_bytes(str(file), b"the other's", force=False)
        assert len(left(tmp_path)) == 2
        writer.terminate()
        writer.wait(timeout=30)
    assert left(tmp_path) == {"a"}
    assert file.read_bytes() == b"the other's"


# --- folders ---


def test_a_folder_is_replaced_in_one_step_with_its_mode(tmp_path: Path) -> None:
    box = tmp_path / "box"
    write_folder(box, {"a": b"1", "b": b"2"})
    assert {one.name: one.read_bytes() for one in box.iterdir()} == {"a": b"1", "b": b"2"}
    box.chmod(0o750)
    write_folder(box, {"b": b"3"})
    assert {one.name: one.read_bytes() for one in box.iterdir()} == {"b": b"3"}
    assert box.stat().st_mode & 0o777 == 0o750
    assert left(tmp_path) == {"box"}


def test_a_full_disk_keeps_the_folder_that_was_there(tiny_disk: Path) -> None:
    box = tiny_disk / "box"
    write_folder(box, {"a": b"kept"})
    with pytest.raises(OSError, match="No space left on device"):
        write_folder(box, {"a": b"x" * 30_000, "b": b"x" * 60_000})
    assert {one.name: one.read_bytes() for one in box.iterdir()} == {"a": b"kept"}
    assert left(tiny_disk) == {"box"}


SLOW_FOLDER = """
import sys, time
from pathlib import Path
from tapplan import wholefile
def slow(path):
    print("begun", flush=True)
    time.sleep(60)
wholefile._named_onto_the_disk = slow
wholefile.write_folder(Path(sys.argv[1]), {"a": b"new"})
"""


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_a_writer_of_a_folder_that_is_ended(number: signal.Signals, tmp_path: Path) -> None:
    box = tmp_path / "box"
    write_folder(box, {"a": b"old"})
    ended_by(number, box, SLOW_FOLDER)
    assert (box / "a").read_bytes() == b"old"
    assert len(left(tmp_path)) == (2 if number == signal.SIGKILL else 1)
    write_folder(box, {"a": b"new"})
    assert (box / "a").read_bytes() == b"new"
    assert left(tmp_path) == {"box"}


# The module that opens files for writing itself: lines added to a file that goes on where it ended.
ADDING = {"sealed.py"}
WRITES = re.compile(r"mkstemp|mkdtemp|\.write_text\(|\.write_bytes\(|open\([^)]*[\"'][wxa]b?\+?[\"']|copyfile")


def test_no_other_module_puts_a_file_on_a_disk() -> None:
    package = Path(wholefile.__file__).parent
    writing = {
        str(file.relative_to(package)) for file in package.rglob("*.py") if WRITES.search(file.read_text("utf-8"))
    }
    assert writing == {"wholefile.py", *ADDING}


def test_only_what_writes_tables_needs_numpy() -> None:
    code = "import sys, tapplan.wholefile; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False, cwd=ROOT).returncode == 0
