"""A backup is a record that opens, with every file that it names."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.cli.jobs import back_up
from knowngood.job.events import MachineAdopted
from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.where import files_folder
from tests.store.entries import NOW, entry


def test_a_copy_while_the_record_is_open(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = tmp_path / "shop.db"
    files = Files(files_folder(store))
    digests = [files.keep_text(text) for text in ("one", "two")]
    with Log.open(store) as log:
        log.append("j1", [entry(MachineAdopted(one)) for one in digests], NOW)
        assert back_up(store, tmp_path / "copy") == 0
        assert "2 events, 2 pictures and files" in capsys.readouterr().out
        log.append("j1", [entry("after the copy")], NOW)
        with Log.open(tmp_path / "copy" / "shop.db") as copy:
            assert copy.events("j1") == log.events("j1")[:2]
            copy.append("j1", [entry("it can be gone on with")], NOW)
    copied = Files(files_folder(tmp_path / "copy" / "shop.db"))
    assert [copied.text_of(one) for one in digests] == ["one", "two"]
    assert not list((tmp_path / "copy").glob(".*"))


def test_a_damaged_file_is_named_and_the_rest_copied(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = tmp_path / "shop.db"
    files = Files(files_folder(store))
    Log.open(store).close()
    good, bad = files.keep_text("good"), files.keep_text("bad")
    files.path_of(bad).write_bytes(b"rot")
    assert back_up(store, tmp_path / "copy") == 1
    out, err = capsys.readouterr()
    assert "1 pictures and files" in out and bad in err
    assert Files(tmp_path / "copy" / "shop.db.files").text_of(good) == "good"


def test_no_copy_over_a_copy(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert back_up(tmp_path / "shop.db", tmp_path / "copy") == 2
    assert "There is no record at" in capsys.readouterr().err
    Log.open(tmp_path / "shop.db").close()
    assert back_up(tmp_path / "shop.db", tmp_path / "copy") == 0
    assert back_up(tmp_path / "shop.db", tmp_path / "copy") == 2
    assert "holds a copy already" in capsys.readouterr().err
    (tmp_path / "file").write_text("")
    assert back_up(tmp_path / "shop.db", tmp_path / "file") == 2
    assert "could not be made" in capsys.readouterr().err
