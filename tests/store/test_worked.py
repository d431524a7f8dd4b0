"""The folder of readings worked out: whole or not there, and never in anybody's way."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from knowngood.store import worked
from knowngood.store.worked import WorkedOut, worked_out

NAME, OTHER = "rows-" + "a" * 64, "pairs-" + "b" * 64


def test_what_is_written_is_read(tmp_path: Path) -> None:
    kept = WorkedOut(tmp_path / "new" / "folder")
    assert kept.read(NAME) is None
    kept.write(NAME, "töxt\n\n")
    kept.write(OTHER, "")
    assert kept.read(NAME) == "töxt\n\n" and kept.read(OTHER) == ""
    assert [f.name for f in kept.folder.iterdir() if ".part-" in f.name] == []


@pytest.mark.parametrize("damage", ["cut", "flip", "empty", "longer", "folder"])
def test_what_is_damaged_is_not_there_and_is_replaced(tmp_path: Path, damage: str) -> None:
    kept = WorkedOut(tmp_path)
    kept.write(NAME, "twelve volts")
    file = tmp_path / f"{NAME}.txt"
    data = file.read_bytes()
    if damage == "folder":
        file.unlink()
        file.mkdir()
    else:
        file.write_bytes({"cut": data[:-3], "flip": data[:-1] + b"x", "empty": b"",
                          "longer": data + b"\n"}[damage])  # fmt: skip
    assert kept.read(NAME) is None
    kept.write(NAME, "twelve volts")
    assert kept.read(NAME) == (None if damage == "folder" else "twelve volts")


def test_only_names_of_its_own_are_files(tmp_path: Path) -> None:
    kept = WorkedOut(tmp_path)
    for name in ("../x", "rows-1", "", "rows-" + "A" * 64, NAME + "\n"):
        kept.write(name, "x")
        assert kept.read(name) is None
    assert list(tmp_path.iterdir()) == [] and not (tmp_path.parent / "x").exists()


def test_where_nothing_can_be_written_nothing_happens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("not a folder")
    WorkedOut(tmp_path / "file").write(NAME, "x")
    WorkedOut(tmp_path / "file" / "below").write(NAME, "x")
    assert WorkedOut(tmp_path / "file").read(NAME) is None
    locked = tmp_path / "locked"
    locked.mkdir()

    def refused(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refused)
    WorkedOut(locked).write(NAME, "x")
    assert list(locked.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_full_disk_is_no_matter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = open

    def full(path: object, mode: str = "r") -> object:
        return real("/dev/full", "wb") if mode == "xb" else real(path, mode)  # type: ignore[call-overload]

    monkeypatch.setattr(worked, "open", full, raising=False)
    kept = WorkedOut(tmp_path)
    kept.write(NAME, "x" * 100_000)
    assert kept.read(NAME) is None and list(tmp_path.glob("rows-*")) == []


def test_many_writers_at_once_leave_whole_texts(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from knowngood.store.worked import WorkedOut\n"
        "kept, text = WorkedOut(Path(sys.argv[1])), sys.argv[2] * 50_000\n"
        f"for _ in range(40):\n    kept.write({NAME!r}, text)\n"
        f"    seen = kept.read({NAME!r})\n"
        "    assert seen is not None and len(set(seen)) == 1 and len(seen) == 50_000\n"
    )
    writers = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path), c]) for c in "abcd"]
    assert [w.wait(60) for w in writers] == [0, 0, 0, 0]
    assert [f.name for f in tmp_path.iterdir()] == [f"{NAME}.txt"]


def test_the_oldest_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worked, "MOST_FILES", 10)
    kept = WorkedOut(tmp_path)
    for n in range(25):
        kept.write(f"rows-{n:064x}", str(n))
        os.utime(tmp_path / f"rows-{n:064x}.txt", (n, n))
    assert len(list(tmp_path.iterdir())) <= 11 and kept.read(f"rows-{24:064x}") == "24"


def test_the_folder_is_the_users_own(tmp_path: Path) -> None:
    def folder(**environment: str) -> Path | None:
        found = worked_out(environment)
        return found.folder if found else None

    assert folder(KNOWNGOOD_CACHE=str(tmp_path)) == tmp_path
    assert folder(KNOWNGOOD_CACHE="off") is None
    if sys.platform == "linux":
        assert folder(XDG_CACHE_HOME=str(tmp_path)) == tmp_path / "knowngood" / "worked-out"
        assert folder(XDG_CACHE_HOME="beside") == Path.home() / ".cache/knowngood/worked-out"
