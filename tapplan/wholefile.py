"""Files and folders written whole or not at all: the one place where tapplan puts a file on a disk.

What is written goes into a file of a short hidden name beside the target (`.tapplan-`, a mark of the target's name, a
random end, `.new`), is forced onto the disk, and takes the target's place in one step. Whatever ends the writing, an
error, Ctrl-C or a signal to end, that file is taken away again. Only a process that is killed outright, or a machine
without power, can leave it behind; the next writing of the same target takes away what no living process holds.

A file that is replaced keeps its mode and, where the system allows, its owner; a link stays, to the new content. A
file with several names (hard links) cannot be replaced without losing the others, so its content is written over in
place: room is set aside first, and what was there is kept in a second file (`.old`) until the new content is on the
disk, and put back if that fails. A folder is exchanged for the new one in one step where the system can.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import signal
import stat
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import IO

from tapplan.errors import OutputError, escaped

try:
    import fcntl
except ImportError:  # not a POSIX system: there an open file cannot be taken away anyway
    fcntl = None  # type: ignore[assignment]

PREFIX, NEW, OLD = ".tapplan-", ".new", ".old"
ENDING = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))


def write_bytes(path: str, content: bytes, *, force: bool) -> None:
    """Writes a file in one step; one that is there is replaced only with `force`.

    Raises:
        OutputError: the file is there already, or cannot be written. Nothing is left half-written.
    """
    with whole_file(path, force=force) as stream:
        stream.write(content)


@contextlib.contextmanager
def whole_file(path: str, *, force: bool) -> Iterator[IO[bytes]]:
    """A stream into a file that is there, with all of it, when the block ends well, and else is as it was.

    An existing file is replaced only with `force`, also one that somebody puts there while the block runs. A signal
    to end becomes SystemExit inside, so that whatever is open is closed.

    Raises:
        OutputError: there is such a file already, or it cannot be written.
    """
    try:
        target = replaceable(path, force=force)
        with _ended_tidily(), _beside(target) as stream:
            yield stream
            replaceable(path, force=force)
    except OSError as error:
        raise _unwritable(path, error) from None


def replaceable(path: str, *, force: bool) -> Path:
    """The file that a name leads to, where it may be written.

    Raises:
        OutputError: it may not: a folder, a device, in no folder, or without `force` a file that is there.
    """
    there, name = _status(path), escaped(path)
    if there is not None and stat.S_ISDIR(there.st_mode):
        raise OutputError(f"{name}: found a directory; accepted: a file name")
    if not path or path.endswith((os.sep, os.altsep or os.sep)):
        raise OutputError(f'found "{name}"; accepted: a file name')
    if there is not None and not force:
        raise OutputError(f"{name}: found a file of that name; it is kept unless --force is given")
    if there is not None and not stat.S_ISREG(there.st_mode):
        raise OutputError(f"{name}: found a pipe or device; accepted: the name of an ordinary file")
    target = Path(os.path.realpath(path))
    if _status(path, target.parent) is None:
        raise _unwritable(path, FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT)))
    return target


def _status(path: str, place: Path | None = None) -> os.stat_result | None:
    """What stands at a path, or at a place that it hangs on; None where nothing does, as behind a link to nowhere."""
    if "\0" in path:
        raise OutputError(f"{escaped(path)}: cannot be written (a name holds no NUL)")
    try:
        return os.stat(path if place is None else place)
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None


def _unwritable(path: str, error: Exception) -> OutputError:
    return OutputError(f"{escaped(path)}: cannot be written ({getattr(error, 'strerror', None) or error})")


# --- under another name beside it ---


@dataclass(frozen=True, slots=True)
class _Spare:
    """A new file beside the target, open to be written."""

    path: Path
    stream: IO[bytes]


@contextlib.contextmanager
def _beside(target: Path) -> Iterator[IO[bytes]]:
    """A stream into a new file that takes the target's place when the block ends well."""
    _clear(target, NEW)
    with _spare(target) as spare:
        yield spare.stream
        _onto_the_disk(spare.stream)
        if fcntl is None:
            spare.stream.close()  # where there are no such locks, no open file can be moved
        _put(spare.path, target)
    with contextlib.suppress(OSError):  # not every system lets a folder be opened
        _named_onto_the_disk(target.parent)
    _clear(target, OLD)


@contextlib.contextmanager
def _spare(target: Path) -> Iterator[_Spare]:
    """A new file, held by a lock that a killed process loses; its name is gone when the block ends."""
    spare = _name_beside(target, NEW)
    try:
        with open(spare, "xb", opener=_for_its_writer) as stream:
            _lock(stream.fileno())
            yield _Spare(spare, stream)
    finally:  # even an interrupt must leave no half-written file behind
        spare.unlink(missing_ok=True)


def _for_its_writer(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _put(written: Path, target: Path) -> None:
    """Gives a file that is written its place and name."""
    old = _status(str(target))
    if old is not None and old.st_nlink > 1:
        _write_over(target, written)
        return
    _dress(written, old, 0o666)
    written.replace(target)


def _dress(written: Path, old: os.stat_result | None, usual: int) -> None:
    """The mode and the owner of what is replaced; without that the usual mode."""
    os.umask(umask := os.umask(0o022))
    written.chmod(usual & ~umask if old is None else old.st_mode & 0o777)
    if old is not None and hasattr(os, "chown") and (old.st_uid, old.st_gid) != (os.geteuid(), os.getegid()):
        with contextlib.suppress(PermissionError):
            os.chown(written, old.st_uid, old.st_gid)


# --- a file of several names ---


def _write_over(target: Path, written: Path) -> None:
    """Puts a content into a file in place; what was there is put back where that fails."""
    kept = _name_beside(target, OLD)
    try:
        shutil.copyfile(target, kept)
        kept.chmod(0o600)
    except BaseException:
        kept.unlink(missing_ok=True)
        raise
    try:
        _fill(target, written)
    except BaseException:
        _fill(target, kept)  # where even this fails, the file kept is not taken away
        kept.unlink()
        raise
    kept.unlink()


def _fill(target: Path, source: Path) -> None:
    with open(target, "r+b") as into, open(source, "rb") as content:
        _set_aside(into, os.fstat(content.fileno()).st_size)
        shutil.copyfileobj(content, into, 1 << 20)
        into.truncate()
        _onto_the_disk(into)


def _set_aside(stream: IO[bytes], size: int) -> None:
    """Room for so many bytes, so that a full disk is found before anything is written over."""
    if not size or not hasattr(os, "posix_fallocate"):
        return
    try:
        os.posix_fallocate(stream.fileno(), 0, size)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.EOPNOTSUPP, errno.ENOSYS):  # a file system that cannot tell
            raise


# --- folders ---


def write_folder(target: Path, contents: Mapping[str, bytes]) -> None:
    """A folder with just these files, in one step and in place of whatever folder is there.

    Raises:
        OSError: it cannot be written; what was there still is.
    """
    with _ended_tidily():
        _clear(target, NEW)
        fresh = _name_beside(target, NEW)
        try:
            fresh.mkdir(0o700)
            with _held(fresh):
                for name, content in contents.items():
                    (fresh / name).write_bytes(content)
                    _named_onto_the_disk(fresh / name)
                _put_folder(fresh, target)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
        with contextlib.suppress(OSError):
            _named_onto_the_disk(target.parent)
        _clear(target, OLD)


def _put_folder(fresh: Path, target: Path) -> None:
    """The new folder in the place of the old one, which comes back if the new one cannot go there."""
    old = _status(str(target))
    _dress(fresh, old, 0o777)
    if old is None:
        fresh.rename(target)
    if old is None or _exchanged(fresh, target):  # what was there has the other name now, and goes with it
        return
    aside = _name_beside(target, OLD)
    target.replace(aside)
    try:
        fresh.rename(target)
    except BaseException:
        aside.replace(target)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _exchanged(one: Path, other: Path) -> bool:
    """Two names exchanged in one step, where the system can; else nothing is done."""
    try:
        import ctypes  # for folders that are replaced

        call = ctypes.CDLL(None).renameat2
    except (OSError, AttributeError, TypeError):  # not Linux, or an old one
        return False
    return bool(call(-100, os.fsencode(one), -100, os.fsencode(other), 2) == 0)  # AT_FDCWD, RENAME_EXCHANGE


# --- what a killed process leaves ---


def _name_beside(target: Path, ending: str) -> Path:
    """A free name in the target's folder, short whatever the target is called."""
    return target.parent / f"{_mark(target)}{os.urandom(8).hex()}{ending}"


def _mark(target: Path) -> str:
    """How names begin that stand beside this target."""
    from hashlib import sha256  # only who writes a file waits for it

    return f"{PREFIX}{sha256(os.fsencode(target.name)).hexdigest()[:12]}-"


def _clear(target: Path, ending: str) -> None:
    """Takes away what processes have left beside a target that have ended."""
    mark = _mark(target)
    with contextlib.suppress(OSError), os.scandir(target.parent) as there:
        for one in [Path(one.path) for one in there if one.name.startswith(mark) and one.name.endswith(ending)]:
            with contextlib.suppress(OSError), _held(one) as is_let_go:
                if is_let_go:
                    shutil.rmtree(one) if one.is_dir() else one.unlink()


@contextlib.contextmanager
def _held(path: Path) -> Iterator[bool]:
    """Whether the lock of a file or folder could be had; where it could, it is kept while the block runs."""
    if fcntl is None:
        yield True
        return
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
    try:
        yield _lock(handle)
    finally:
        os.close(handle)


def _lock(opened: int) -> bool:
    """Takes the lock of what is open, which ends with the process; whether it could be had."""
    if fcntl is None:
        return True
    try:
        fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:  # held by another, or on a file system without locks
        return False
    return True


# --- onto the disk, and the end ---


def _onto_the_disk(stream: IO[bytes]) -> None:
    stream.flush()
    os.fsync(stream.fileno())


def _named_onto_the_disk(path: Path) -> None:
    """A file that is written; or the names in a folder, so that one without power has the old file or the new."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextlib.contextmanager
def _ended_tidily() -> Iterator[None]:
    """Makes of a signal to end, which would end the process at once, a SystemExit with the shell's code for it."""
    if threading.current_thread() is not threading.main_thread():  # only there can signals be taken
        yield
        return
    taken = [one for one in ENDING if signal.getsignal(one) is signal.SIG_DFL]

    def end(number: int, frame: FrameType | None) -> None:
        for one in taken:
            signal.signal(one, signal.SIG_IGN)  # once is enough: nothing may break off the tidying
        raise SystemExit(128 + number)

    try:
        for one in taken:
            signal.signal(one, end)
        yield
    finally:
        for one in taken:
            signal.signal(one, signal.SIG_DFL)
