"""A design's firmware, compiled for this computer and called from here."""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

FLAGS = ["-std=c99", "-pedantic", "-Wall", "-Wextra", "-Werror"]
WATCHED = ("-fsanitize=undefined", "-fno-sanitize-recover=all")
"""Ends the program at whatever C leaves undefined: overflows, shifts, places outside an array."""
STATE_BYTES = 64
"""More than any state or window takes."""


def need(tool: str, package: str) -> str:
    """A tool by its path; where it is missing, the test is left out, but in CI gcc must be there."""
    found = shutil.which(tool)
    if found is None:
        if os.environ.get("CI") == "true" and tool == "gcc":
            pytest.fail(f"{tool} is not installed, and CI must not go without it")
        pytest.skip(f"{tool} is not installed: apt-get install {package}")
    return found


def put(folder: Path, texts: Mapping[str, str]) -> Path:
    """The files in a directory of their own."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text)
    return folder


def name_of(texts: Mapping[str, str]) -> str:
    """What every name begins with."""
    (found,) = {name[:-2] for name in texts if re.fullmatch(r"tapplan_\w+\.c", name)}
    return found


def compiled(folder: Path, sources: Sequence[str], *more: str, tool: str = "gcc") -> None:
    """An executable `walk`, without a warning."""
    done = subprocess.run(
        [need(tool, tool), *FLAGS, *more, "-o", "walk", *sources],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


def told(folder: Path, *more: str) -> list[str]:
    """What `walk` prints; it must end with 0."""
    done = subprocess.run([folder / "walk", *more], cwd=folder, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stdout[-2000:]
    return done.stdout.splitlines()


class Loaded:
    """The functions of one design in a shared library, with one state and one window."""

    def __init__(self, folder: Path, texts: Mapping[str, str], *more: str) -> None:
        put(folder, texts)
        self.name = name_of(texts)
        header = texts[f"{self.name}.h"]
        compiled(folder, [f"{self.name}.c"], "-O2", "-shared", "-fPIC", *more)
        self._library = ctypes.CDLL(str(folder / "walk"))
        bits = re.search(r"typedef uint(\d+)_t \w+_mask;", header)
        assert bits is not None
        mask = {"8": ctypes.c_uint8, "16": ctypes.c_uint16, "32": ctypes.c_uint32}[bits[1]]
        self._state, self._window = (ctypes.create_string_buffer(b"\xa5" * STATE_BYTES) for _ in range(2))
        self._step = self._given("step", mask, [ctypes.c_void_p, ctypes.c_uint16, ctypes.c_int32])
        self._next = self._given("next", ctypes.c_uint8, [ctypes.c_uint8, ctypes.c_int32])
        self._band = self._given("band", ctypes.c_uint8, [ctypes.c_void_p])
        self._sample = self._given("sample", None, [ctypes.c_void_p, ctypes.c_int32])
        self._reading = self._given("reading", ctypes.c_int32, [ctypes.c_void_p])
        self._self_test = self._given("self_test", ctypes.c_uint8, [])
        self._given("clear", None, [ctypes.c_void_p])(self._window)
        self.start()

    def _given(self, what: str, result: Any, taken: Sequence[Any]) -> Any:
        function = getattr(self._library, f"{self.name}_{what}")
        function.restype, function.argtypes = result, taken
        return function

    def start(self) -> None:
        """As at switch-on."""
        self._given("start", None, [ctypes.c_void_p])(self._state)

    @property
    def memory(self) -> bytes:
        """The memory of the state."""
        return self._state.raw

    def damage(self, content: bytes) -> None:
        """Other bytes in the memory of the state."""
        ctypes.memmove(self._state, content, len(content))

    def step(self, elapsed_ms: int, reading: int) -> int:
        """The coils after one call."""
        return int(self._step(self._state, elapsed_ms, reading))

    def next(self, band: int, reading: int) -> int:
        """The decision alone."""
        return int(self._next(band, reading))

    @property
    def band(self) -> int:
        """The band in force."""
        return int(self._band(self._state))

    def averaged(self, samples: Sequence[int]) -> int:
        """The reading of one window."""
        for sample in samples:
            self._sample(self._window, sample)
        return int(self._reading(self._window))

    def self_test(self) -> int:
        """What is wrong with the tables, 0 when nothing is."""
        return int(self._self_test())
