"""A copy as one file: whole, of one moment, and refused when it is not."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from knowngood.cli.jobs import put_back
from knowngood.job.events import MachineAdopted
from knowngood.store.bundle import DAMAGED, stream, unpack
from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.problem import StoreProblem
from knowngood.store.where import files_folder, keys_folder
from tests.store.entries import NOW, OPENED, entry


def shop(folder: Path, files: int = 3) -> Path:
    store = folder / "shop.db"
    kept = Files(files_folder(store))
    with Log.open(store) as log:
        log.append("j1", [entry(OPENED)], NOW)
        for n in range(files):
            log.append("j1", [entry(MachineAdopted(kept.keep_text(f"file {n}")))], NOW)
    return store


def test_what_is_written_meanwhile_does_not_tear_it(tmp_path: Path) -> None:
    store = shop(tmp_path)
    pieces = stream(store, NOW)
    data = next(pieces)
    with Log.open(store) as log:  # the shop goes on working
        log.append("j1", [entry("after the copy began")], NOW)
        Files(files_folder(store)).keep_text("a picture after the copy began")
        before = log.events("j1")[:-1]
    file = tmp_path / "copy.zip"
    file.write_bytes(data + b"".join(pieces))
    folder = unpack(file, tmp_path / "fresh")
    with Log.open(folder / "shop.db", make=False) as copy:
        assert copy.events("j1") == before
        copied = Files(files_folder(folder / "shop.db"))
        names = [e.event.digest for e in before if isinstance(e.event, MachineAdopted)]
        assert [copied.text_of(name) for name in names] == ["file 0", "file 1", "file 2"]
        copy.append("j1", [entry("it can be gone on with")], NOW)


def test_keys_are_not_in_it_and_damage_is_named(tmp_path: Path) -> None:
    store = shop(tmp_path)
    keys_folder(store).mkdir()
    (keys_folder(store) / "authority.key").write_text("secret")
    files = Files(files_folder(store))
    bad = files.keep_text("bad")
    files.path_of(bad).write_bytes(b"rot")
    file = tmp_path / "copy.zip"
    file.write_bytes(b"".join(stream(store, NOW)))
    with zipfile.ZipFile(file) as bundle:
        assert not [name for name in bundle.namelist() if "key" in name]
        assert bad in bundle.read(DAMAGED).decode()
        assert "knowngood job restore" in bundle.read("READ ME.txt").decode()
    assert unpack(file, tmp_path / "fresh").is_dir()


@pytest.mark.parametrize("left", [0, 1, 200, -1])
def test_a_file_that_was_cut_off_restores_nothing(tmp_path: Path, left: int) -> None:
    data = b"".join(stream(shop(tmp_path), NOW))
    file = tmp_path / "copy.zip"
    file.write_bytes(data[:left])
    with pytest.raises(StoreProblem, match="no whole copy"):
        unpack(file, tmp_path / "fresh")
    assert not (tmp_path / "fresh").exists()


@pytest.mark.parametrize("name", ["../shop.db", "/etc/passwd", "a/b/c", "shop.db.files/../../x"])
def test_a_file_of_somebody_else_writes_nothing(tmp_path: Path, name: str) -> None:
    file = tmp_path / "copy.zip"
    with zipfile.ZipFile(file, "w") as bundle:
        bundle.writestr(name, "x")
    with pytest.raises(StoreProblem, match="no copy of a record"):
        unpack(file, tmp_path / "fresh" / "deep")
    assert [path.name for path in tmp_path.rglob("*")] == ["copy.zip"]


def test_the_command_takes_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store, file = shop(tmp_path), tmp_path / "copy.zip"
    file.write_bytes(b"".join(stream(store, NOW)))
    fresh = tmp_path / "fresh" / "shop.db"
    assert put_back(fresh, file) == 0
    assert "4 events, 3 pictures and files are back" in capsys.readouterr().out
    with Log.open(fresh, make=False) as log:
        assert [one.name for one in log.search("stopped")] == ["26-0007"]
    assert sorted(path.name for path in fresh.parent.iterdir()) == ["shop.db", "shop.db.files"]
    assert put_back(fresh, file) == 2
    assert "There is a record" in capsys.readouterr().err
    file.write_bytes(file.read_bytes()[:300])
    assert put_back(tmp_path / "other" / "shop.db", file) == 2
    assert "cut off" in capsys.readouterr().err


def test_no_record_no_copy(tmp_path: Path) -> None:
    with pytest.raises(StoreProblem, match="There is no record"):
        next(stream(tmp_path / "shop.db", NOW))
