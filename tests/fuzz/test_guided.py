"""Inputs led by coverage: a few of each kind of file that is read, where atheris is there."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.examples import ROOT

FEW = 1500


@pytest.mark.parametrize("kind", ["design", "session", "priors", "reading"])
def test_what_new_ways_through_the_code_lead_to_breaks_no_promise(kind: str) -> None:
    pytest.importorskip("atheris", reason="inputs led by coverage need atheris")
    words = [sys.executable, "-m", "tests.fuzz.guided", "--reader", kind, "--inputs", str(FEW), "--seed", "7"]
    done = subprocess.run(words, capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stdout + done.stderr
    assert f"{FEW} inputs, 0 kinds of faults" in done.stdout
