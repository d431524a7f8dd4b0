"""`knowngood serve`: the address, the notice, a port that is taken, a stop by the person."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pexpect


def command(store: Path, port: int) -> list[str]:
    serve = [sys.executable, "-m", "knowngood", "serve", "--host", "127.0.0.1"]
    return [*serve, "--port", str(port), "--store", str(store)]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_it_serves_says_who_can_write_and_stops_at_once(tmp_path: Path) -> None:
    port = free_port()
    server = subprocess.Popen(
        command(tmp_path / "shop.db", port), stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        text=True,
    )  # fmt: skip
    try:
        until = time.monotonic() + 40
        while True:
            try:
                assert httpx.get(f"http://127.0.0.1:{port}/", timeout=2).status_code == 200
                break
            except httpx.HTTPError:
                assert time.monotonic() < until
                time.sleep(0.1)
        server.send_signal(signal.SIGINT)
        said, _ = server.communicate(timeout=20)
    finally:
        server.kill()
    assert f"http://127.0.0.1:{port}" in said
    assert "anyone on this network can read and write" in said
    assert "Traceback" not in said
    assert server.returncode in (0, 130)


def test_a_terminal_gets_a_code_for_the_phone(tmp_path: Path) -> None:
    port = free_port()
    program, *rest = command(tmp_path / "shop.db", port)
    child = pexpect.spawn(program, rest, encoding="utf-8", timeout=40, env={**os.environ})
    child.expect("The shop is at")
    child.expect("[▀▄█]{6}")  # drawn in half blocks
    child.expect("Point the phone's camera at it")
    child.sendintr()
    child.expect(pexpect.EOF)


def test_a_port_that_is_taken_and_a_record_that_is_none(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = int(other.getsockname()[1])
        done = subprocess.run(command(tmp_path / "a.db", port), capture_output=True, text=True)
    assert done.returncode == 2
    assert f"--port {port + 1}" in done.stderr
    bad = tmp_path / "bad.db"
    bad.write_text("this is no record" * 100)
    done = subprocess.run(command(bad, free_port()), capture_output=True, text=True)
    assert done.returncode == 2
    assert str(bad) in done.stderr and "Traceback" not in done.stderr
