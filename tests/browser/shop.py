"""A real server process on a record of its own, and real chromium with the size of a phone."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Browser, BrowserContext, Page, Playwright

from knowngood.places.bench import CheckIn, open_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import At, Record

CHROMIUM = "/usr/bin/chromium"
PLAIN = (
    "bench.test"  # a name that is no secure context, as an address in the shop's network is none
)
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    f"--host-resolver-rules=MAP {PLAIN} 127.0.0.1",
]  # fmt: skip
PHONE = {"width": 390, "height": 844}


@dataclass
class Shop:
    """A record on disk and the server on it, which can be killed and started again."""

    store: Path
    port: int
    process: subprocess.Popen[bytes] | None = None
    patience: float = 0.03
    starts: int = 0
    log: Path = field(default_factory=Path)

    @property
    def address(self) -> str:
        return f"http://{PLAIN}:{self.port}"

    @property
    def local(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, wait: bool = True) -> None:
        command = [sys.executable, "-m", "knowngood", "serve", "--host", "127.0.0.1"]
        command += ["--port", str(self.port), "--store", str(self.store)]
        command += ["--patience", str(self.patience)]
        env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
        self.log = self.store.with_name(f"server-{self.starts}.log")
        self.starts += 1
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(command, env=env, stdout=log, stderr=log)
        if wait:
            self.ready()

    def ready(self) -> None:
        until = time.monotonic() + 90
        while time.monotonic() < until:
            try:
                httpx.get(f"{self.local}/phone", timeout=2)
                return
            except httpx.HTTPError:
                time.sleep(0.1)
        raise AssertionError(f"the server did not start: {self.log.read_text()}")

    def kill(self) -> None:
        """As a power cut: nothing is finished."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()
        self.process = None

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
            self.process = None

    def open_job(
        self, machine: str = "mower-battery-56v", complaint: str = "dead", **more: Any
    ) -> str:
        """Check a machine in, as the counter does; its id."""
        given = {"words": "Does nothing at all", "customer": "Ana Pohl", "model": "BM-561",
                 "serial": "2306A00417", "maker": "Brackwater"} | more  # fmt: skip
        with Record.open(self.store) as record:
            check_in = CheckIn(
                find_machine(machine), complaint, meter=find_meter("generic-6000"), **given
            )
            return open_job(record, check_in, At(datetime.now(UTC).astimezone(), "Sam")).job.id


@contextmanager
def served(folder: Path, patience: float = 0.03) -> Iterator[Shop]:
    """A shop in this folder, running until the end; ``patience`` in seconds of planning."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    shop = Shop(folder / "shop.db", port, patience=patience)
    shop.start()
    try:
        yield shop
    finally:
        shop.stop()


def launch(playwright: Playwright) -> Browser:
    return playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)


def phone(browser: Browser, size: dict[str, int] | None = None) -> BrowserContext:
    """A phone of its own: its database and its settings are nobody else's."""
    big = size or PHONE
    context = browser.new_context(
        viewport={"width": big["width"], "height": big["height"]}, device_scale_factor=2,
        has_touch=True, is_mobile=size is None, locale="en-US", timezone_id="Europe/Vienna",
    )  # fmt: skip
    context.set_default_timeout(60_000)  # on a machine that is busy
    return context


def at_bench(context: BrowserContext, shop: Shop, job: str) -> Page:
    """The bench of a job, ready for the first tap; a fault in the page fails the test."""
    page = context.new_page()
    page.on("pageerror", lambda error: _fail(error))
    page.goto(f"{shop.address}/job/{job}/bench")
    page.wait_for_selector("[data-ready]")
    return page


def _fail(error: object) -> None:
    raise AssertionError(f"a fault in the page: {error}")
