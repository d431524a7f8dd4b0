"""The program dies at any moment: what it had said is stored, is stored.

This kills processes, not the power; that the disk is waited for is checked in test_log.
"""

from __future__ import annotations

import os
import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

from knowngood.job.events import MachineAdopted
from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.where import files_folder
from tests.store.entries import NOW, entry

ROUNDS = 30


def test_killed_at_any_moment(tmp_path: Path, root: Path) -> None:
    store = tmp_path / "shop.db"
    moments = random.Random(20260302)
    said: list[tuple[str, int, int, str]] = []
    for number in range(ROUNDS):
        said += _killed(store, root, f"device {number}", moments)
        with Log.open(store) as log:
            events = log.all_events()
            # A sending may be stored though the program died before it could say so.
            sendings, rest = divmod(len(events) - number, 3)
            assert rest == 0  # all of a sending or nothing
            assert 0 <= sendings - len(said) <= number + 1
            log.append("j1", [entry(f"after {number}", "test", number)], NOW)  # it goes on
    with Log.open(store) as log:
        events = log.all_events()
    there = {(one.device, one.device_seq): one for one in events}
    for device, first, seq, digest in said:
        assert [there[device, first + n].seq for n in range(3)] == [seq - 2, seq - 1, seq]
        adopted = there[device, first].event
        assert isinstance(adopted, MachineAdopted) and adopted.digest == digest
    files = Files(files_folder(store))
    for one in events:
        if isinstance(one.event, MachineAdopted):  # said or not, all three are there
            assert {(one.device, one.device_seq + n) for n in (1, 2)} <= there.keys()
            assert files.text_of(one.event.digest).startswith(one.device)
    assert [one.seq for one in events] == list(range(1, len(events) + 1))
    assert sqlite3.connect(store).execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert len(said) >= ROUNDS  # or it tested nothing


def _killed(
    store: Path, root: Path, device: str, moments: random.Random
) -> list[tuple[str, int, int, str]]:
    child = subprocess.Popen(
        [sys.executable, str(root / "tests/store/appender.py"), str(store), device],
        stdout=subprocess.PIPE,
        text=True,
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root)},
    )
    assert child.stdout is not None
    lines = [child.stdout.readline() for _ in range(moments.randrange(1, 12))]
    time.sleep(moments.uniform(0, 0.004))
    child.kill()
    lines += child.stdout.read().splitlines(keepends=True)
    child.stdout.close()
    assert child.wait() == -9
    whole = [line.split() for line in lines if line.endswith("\n")]
    return [(f"{w[0]} {w[1]}", int(w[2]), int(w[3]), w[4]) for w in whole]
