"""Options of the whole suite: --all runs the slow tests too, and then nothing may be skipped."""

from __future__ import annotations

import os
import signal
import tempfile
from collections.abc import Generator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest

from knowngood.machines import wire
from knowngood.store import worked


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--all", action="store_true", help="run the slow tests too; a skip fails")


def pytest_configure(config: pytest.Config) -> None:
    """A suite started in the background ignores Ctrl-C, and so would every program it starts.
    Readings worked out are kept for this run alone: one folder for all its processes."""
    keep_readings()
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if "PYTEST_XDIST_WORKER" in os.environ:
        return
    cache = tempfile.TemporaryDirectory(prefix="worked-out-", ignore_cleanup_errors=True)
    before = os.environ.get("KNOWNGOOD_CACHE")
    os.environ["KNOWNGOOD_CACHE"] = cache.name

    def put_back() -> None:
        cache.cleanup()
        if before is None:
            os.environ.pop("KNOWNGOOD_CACHE", None)
        else:
            os.environ["KNOWNGOOD_CACHE"] = before

    config.add_cleanup(put_back)


def keep_readings() -> None:
    """What the wiring of a machine file predicts is worked out by one process and read by all the
    others, also where a test names no place for it; tests/machines/test_kept.py proves it the same.
    A machine without its file's digest is worked out anew."""
    remembered = lru_cache(maxsize=32)(wire._remembered.__wrapped__)
    wire._remembered = lambda key: remembered(replace(key, kept=key.kept or worked.worked_out()))
    worked.MOST_FILES = 2000


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--all") or config.getoption("markexpr"):
        return
    slow = [item for item in items if item.get_closest_marker("slow")]
    if slow:
        config.hook.pytest_deselected(items=slow)
        items[:] = [item for item in items if item not in set(slow)]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if item.config.getoption("--all") and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"with --all nothing may be skipped, but this was: {report.longrepr}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    if collector.config.getoption("--all") and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"with --all nothing may be skipped, but this was: {report.longrepr}"
    return report


@pytest.fixture
def root() -> Path:
    """The folder of the checkout."""
    return Path(__file__).resolve().parent.parent
