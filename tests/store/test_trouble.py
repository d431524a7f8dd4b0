"""What can go wrong with a disk, a folder or another program: said plainly, nothing lost."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from knowngood.store import sql
from knowngood.store.log import Log
from knowngood.store.problem import NewerStore, StoreProblem
from tests.store.entries import NOW, OPENED, entry

# Fills the disk with entries, says how many were stored and what was said, then goes on once
# there is room again: argv is the store, and a file to remove or "limit" for its own limit.
FILLS = """
import resource, sys
from pathlib import Path
from knowngood.store.log import Log
from knowngood.store.problem import StoreProblem
from tests.store.entries import NOW, entry
store, room = Path(sys.argv[1]), sys.argv[2]
log = Log.open(store)
log.append("j1", [entry("first", "phone", 0)], NOW)
if room == "limit":
    hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
    resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, hard))
stored = 1
try:
    while stored < 2000:
        log.append("j1", [entry("x" * 5000, "phone", stored)], NOW)
        stored += 1
except StoreProblem as problem:
    print(problem)
there = len(log.events("j1"))
if room == "limit":
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
else:
    Path(room).unlink()
log.append("j1", [entry("there is room again", "phone", stored)], NOW)
log.close()
with Log.open(store) as log:
    print(stored, there, len(log.events("j1")))
"""


def run(root: Path, *command: str) -> str:
    done = subprocess.run(
        command,
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def check_filled(output: str) -> None:
    said, numbers = output.strip().split("\n")
    assert "Everything stored before is kept" in said and "not stored" in said
    stored, there, after = map(int, numbers.split())
    assert 1 < stored < 2000
    assert there == stored and after == stored + 1


def _own_mounts() -> bool:
    try:
        command = ["unshare", "--mount", "mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", "/mnt"]
        return subprocess.run(command, capture_output=True).returncode == 0
    except OSError:
        return False


# Where a test may not mount a small disk, a limit on the size of files is what there is.
@pytest.mark.parametrize("how", ["limit", "small disk"] if _own_mounts() else ["limit"])
def test_a_full_disk(tmp_path: Path, root: Path, how: str) -> None:
    fills = [sys.executable, "-c", FILLS, str(tmp_path / "shop.db")]
    if how == "limit":
        check_filled(run(root, *fills, "limit"))
        return
    ballast = tmp_path / "ballast"
    script = f"mount -t tmpfs -o size=1m tmpfs {tmp_path}; head -c 300000 /dev/zero > {ballast}; "
    script += 'exec "$@"'
    output = run(root, "unshare", "--mount", "sh", "-c", script, "sh", *fills, str(ballast))
    assert "is full" in output
    check_filled(output)


def test_a_folder_that_may_not_be_written(tmp_path: Path, root: Path) -> None:
    with Log.open(tmp_path / "there" / "shop.db") as log:
        log.append("j1", [entry(OPENED)], NOW)
    for place in (tmp_path / "there", tmp_path / "empty"):
        place.mkdir(exist_ok=True)
        for file in place.iterdir():
            file.chmod(0o444)
        place.chmod(0o555)
    # Rights do not bind root, so a child gives them up first.
    script = """
import os, sys
from knowngood.store.log import Log
from knowngood.store.problem import StoreProblem
from tests.store.entries import NOW, entry
if os.getuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
for place in sys.argv[1:]:
    try:
        Log.open(place).append("j1", [entry("a")], NOW)
        print("stored")
    except StoreProblem as problem:
        print(problem)
"""
    for folder in (tmp_path, *tmp_path.parents):
        if folder.stat().st_uid == os.getuid() and "pytest" in str(folder):
            folder.chmod(0o755)
    places = [str(tmp_path / name / "shop.db") for name in ("there", "empty", "empty/new")]
    said = run(root, sys.executable, "-c", script, *places).strip().split("\n")
    assert len(said) == 3
    assert "--store" in said[0] and places[0] in said[0]
    assert "cannot be opened or made" in said[1] and "--store" in said[1]
    assert "cannot be made: Permission denied" in said[2]


def test_another_program_holds_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sql, "BUSY_SECONDS", 0.1)
    log = Log.open(tmp_path / "shop.db")
    log.append("j1", [entry(OPENED, "phone", 1)], NOW)
    other = sqlite3.connect(tmp_path / "shop.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreProblem, match="Another program has held the record"):
        log.append("j1", [entry("a", "phone", 2)], NOW)
    assert len(log.events("j1")) == 1  # reading goes on meanwhile
    other.execute("ROLLBACK")
    other.close()
    log.append("j1", [entry("a", "phone", 2)], NOW)
    assert len(log.events("j1")) == 2


def test_a_record_from_a_newer_program(tmp_path: Path) -> None:
    store = tmp_path / "shop.db"
    Log.open(store).close()
    raw = sqlite3.connect(store)
    raw.execute("UPDATE store_fact SET value = '7' WHERE name = 'schema'")
    raw.execute("UPDATE store_fact SET value = '2.3.0' WHERE name = 'made_by'")
    raw.commit()
    raw.close()
    with pytest.raises(NewerStore, match=r"knowngood 2\.3\.0 .*This is knowngood 0\.") as said:
        Log.open(store)
    assert "Update this program" in str(said.value)


def test_a_folder_in_its_place(tmp_path: Path) -> None:
    with pytest.raises(StoreProblem, match=r"is a folder. Name a file in it, such as .*shop\.db"):
        Log.open(tmp_path)


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreProblem, match="cannot be made"):
        Log.open(tmp_path / "file" / "shop.db")


def test_a_file_that_is_no_database(tmp_path: Path) -> None:
    store = tmp_path / "letter.txt"
    store.write_text("Dear customer, " * 100)
    with pytest.raises(StoreProblem, match="it is no database"):
        Log.open(store)
    assert store.read_text() == "Dear customer, " * 100


def test_an_empty_file_is_not_made_a_record_by_reading(tmp_path: Path) -> None:
    store = tmp_path / "shop.db"
    store.touch()
    with pytest.raises(StoreProblem, match=r"is an empty file, not a record.*--store.*backup"):
        Log.open(store, make=False)
    assert store.stat().st_size == 0 and [path.name for path in tmp_path.iterdir()] == ["shop.db"]
    Log.open(store).close()  # a first job may go there
    Log.open(store, make=False).close()


def test_somebody_elses_database_is_left_as_it_is(tmp_path: Path) -> None:
    store = tmp_path / "other.db"
    raw = sqlite3.connect(store)
    raw.execute("CREATE TABLE invoice (number TEXT)")
    raw.close()
    before = store.read_bytes()
    with pytest.raises(StoreProblem, match="not a record of this program"):
        Log.open(store)
    assert store.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["other.db"]


def test_a_damaged_record_is_said(tmp_path: Path) -> None:
    store = tmp_path / "shop.db"
    with Log.open(store) as log:
        for number in range(40):
            log.append("j1", [entry("x" * 3000, "phone", number)], NOW)
    data = bytearray(store.read_bytes())
    data[8192:-4096] = b"\xa5" * (len(data) - 12288)
    store.write_bytes(data)
    with pytest.raises(StoreProblem, match=r"is damaged .* latest backup"), Log.open(store) as log:
        log.events("j1")


def test_a_database_that_is_not_there_yet(tmp_path: Path) -> None:
    with pytest.raises(StoreProblem, match="There is no record at"):
        Log.open(tmp_path / "shop.db", make=False)
    assert not (tmp_path / "shop.db").exists()
    with pytest.raises(StoreProblem, match="postgresql://"):
        Log.open("postgresql://shop@server/shop")
