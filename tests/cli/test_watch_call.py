"""`report --watch` as a command: what is refused, what it says, how it ends."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tapplan.cli.loopback.texts import DesignTexts
from tapplan.cli.main import main
from tests.cli.watched_page import RIDGE, TITLE, WAIT_S, in_place, saved
from tests.examples import ROOT


def refused(capsys: Any, *words: str) -> str:
    try:
        code = main(words)
    except SystemExit as ended:
        code = int(ended.code or 0)
    found = capsys.readouterr()
    assert (code, found.out) == (2, "")
    return str(found.err)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--watch", "--json"), "found --watch with --json; accepted: one of them"),
        (("--watch", "--force"), "found --watch with --force; accepted: one of them"),
        (("--watch", "-o", "page.html"), "found --watch with -o; accepted: one of them"),
        (("--port", "8350"), "found --port alone; accepted: together with --watch"),
        (("--open",), "found --open alone; accepted: together with --watch"),
        (("--watch", "--port", "0"), 'found "0"; accepted: a port from 1 to 65535'),
        (("--watch", "--port", "65536"), 'found "65536"; accepted: a port from 1 to 65535'),
        (("--watch", "--compare", os.devnull), f"{os.devnull}: found no ordinary file"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path: Path, capsys: Any, options: tuple[str, ...], told: str) -> None:
    assert told in refused(capsys, "report", str(saved(tmp_path)), *options)


def test_what_nobody_can_save_is_not_watched(tmp_path: Path, capsys: Any) -> None:
    assert "found no ordinary file" in refused(capsys, "report", os.devnull, "--watch")
    assert "-: found no such file" in refused(capsys, "report", "-", "--watch")
    assert "winding[1].turns" in refused(
        capsys, "report", str(saved(tmp_path, RIDGE.replace("turns = ", "turns = -", 1))), "--watch"
    )
    request = str(ROOT / "designs" / "requests" / "coast-road.toml")
    assert "found a request for fit" in refused(capsys, "report", request, "--watch")


def test_a_port_that_is_taken_is_told(tmp_path: Path, capsys: Any) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        told = refused(capsys, "report", str(saved(tmp_path)), "--watch", "--port", port)
    assert f"found --port {port}, which cannot be had" in told


@pytest.mark.parametrize("missing", ["tornado", "watchfiles"])
def test_a_missing_extra_is_told(tmp_path: Path, missing: str) -> None:
    script = f"import sys; sys.modules[{missing!r}] = None; from tapplan.cli.main import run; run()"
    call = [sys.executable, "-c", script, "report", str(saved(tmp_path)), "--watch"]
    found = subprocess.run(call, capture_output=True, text=True, cwd=ROOT, check=False, timeout=WAIT_S)
    told = f"found no {missing}; accepted: pip install 'tapplan[watch]' for --watch\n"
    assert (found.returncode, found.stdout, found.stderr) == (2, "", told)


@contextmanager
def called(*words: str) -> Iterator[Any]:
    """The command as a process of its own."""
    call = [sys.executable, "-m", "tapplan", "report", *words, "--watch"]
    with subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) as process:
        try:
            yield process
        finally:
            process.kill()


def test_ctrl_c_ends_it_cleanly_also_with_a_browser_at_it(tmp_path: Path) -> None:
    """Exit 0 also for a design with faults: the page was there, and nobody judges a page that is left."""
    faulty = saved(tmp_path, (ROOT / "designs" / "hostel-review.toml").read_text(encoding="utf-8"))
    with called(str(faulty)) as process:
        url = process.stdout.readline().strip()
        assert process.stdout.readline() == f"watching {faulty}; Ctrl-C ends\n"
        port, home = int(url.split(":")[2].split("/")[0]), "/" + url.split("/", 3)[3]
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=WAIT_S)) as call:
            call.request("GET", home + "events")
            with call.getresponse() as events:
                assert events.readline().startswith(b"data: ")
                process.send_signal(signal.SIGINT)
                out, err = process.communicate(timeout=WAIT_S)
    assert (process.returncode, out, err) == (0, f"no longer watching {faulty}\n", "")
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=5)


def test_logs_are_run_again_for_every_page(tmp_path: Path) -> None:
    log = saved(tmp_path, "time,volts\n" + "".join(f"{60 * n},{200 + n % 50}\n" for n in range(600)), "feeder.csv")
    file = saved(tmp_path)
    with called(str(file), "--log", str(log), "--epoch", "s") as process:
        url = process.stdout.readline().strip()
        port, home = int(url.split(":")[2].split("/")[0]), "/" + url.split("/", 3)[3]
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=WAIT_S)) as call:
            call.request("GET", home)
            assert "feeder.csv" in call.getresponse().read().decode()
            in_place(file, RIDGE.replace(TITLE, 'title  = "Hill farm').encode())
            call.request("GET", home + "events")
            with call.getresponse() as events:
                while '"page": 2' not in events.readline().decode():
                    pass
        process.send_signal(signal.SIGINT)
        assert process.wait(WAIT_S) == 0


def test_the_browser_is_opened_at_the_page(tmp_path: Path, monkeypatch: Any) -> None:
    browser = tmp_path / "browser.sh"
    browser.write_text(f'#!/bin/sh\necho "$1" > {tmp_path}/asked.tmp; mv {tmp_path}/asked.tmp {tmp_path}/asked\n')
    browser.chmod(0o755)
    monkeypatch.setenv("BROWSER", f"{browser} %s")
    with called(str(saved(tmp_path)), "--open") as process:
        url = process.stdout.readline()
        ends = time.monotonic() + WAIT_S
        while not (tmp_path / "asked").exists() and time.monotonic() < ends:
            time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        assert process.wait(WAIT_S) == 0
    assert (tmp_path / "asked").read_text() == url


def test_ctrl_c_ends_it_in_the_middle_of_a_page(tmp_path: Path) -> None:
    """The kiosk's page takes some seconds; a browser waits for one that is tried."""
    kiosk = saved(tmp_path, (ROOT / "designs" / "river-kiosk.toml").read_text(encoding="utf-8"))
    with called(str(kiosk)) as process:
        url = process.stdout.readline().strip()
        _, _, host, token, _ = url.split("/")
        read = DesignTexts(kiosk.read_text(encoding="utf-8")).mark
        body = json.dumps({"read": read, "numbers": {"winding[1].turns": "401"}})
        own = {"Origin": f"http://{host}", "Content-Type": "application/json", "Tapplan-Token": token}
        with closing(http.client.HTTPConnection(host, timeout=WAIT_S)) as call:
            call.request("POST", f"/{token}/try", body, own)
            time.sleep(0.5)
            process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=WAIT_S)
    assert (process.returncode, err) == (0, "")
    assert out.endswith(f"no longer watching {kiosk}\n")
