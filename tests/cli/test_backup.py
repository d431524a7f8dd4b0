"""`job backup` while the bench is at work in another process, and `job restore` elsewhere."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from knowngood.cli import main

SMALL = str(Path(__file__).parents[1] / "places" / "small.yaml")
INTRO = "it is dead\n1\nyes\nnothing\nnone\n"


def run(*words: str, text: str = "", cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "knowngood", *words], input=text, capture_output=True,
        text=True, timeout=240, cwd=cwd,
    )  # fmt: skip


@pytest.mark.slow
def test_a_backup_of_a_shop_at_work_comes_back_whole_elsewhere(tmp_path: Path) -> None:
    store, copy, there = tmp_path / "shop.db", tmp_path / "copy", tmp_path / "new" / "shop.db"
    Image.new("RGB", (40, 30), "navy").save(tmp_path / "plate.png")
    bench = subprocess.Popen(
        [sys.executable, "-m", "knowngood", "bench", "--machine", SMALL, "--store", str(store)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=tmp_path,
    )  # fmt: skip
    assert bench.stdin and bench.stdout

    def enter(line: str, until: str) -> None:
        assert bench.stdin and bench.stdout
        bench.stdin.write(f"{line}\n")
        bench.stdin.flush()
        for said in bench.stdout:
            if re.search(until, said):
                return
        pytest.fail(f"never said {until!r}")

    enter(INTRO + "picture plate.png plate", "kept: picture 1")
    enter("pack_rest: 57.9", r"^\[4\] pack volts")
    # notes go on arriving while the copy is made
    for n in range(30):
        bench.stdin.write(f"note during {n}\n")
    bench.stdin.flush()
    made = run("job", "backup", str(copy), "--store", str(store))
    assert made.returncode == 0 and made.stderr == "", made.stderr
    assert "pictures and files" in made.stdout
    bench.kill()
    bench.wait()
    again = run("job", "backup", str(copy), "--store", str(store))
    assert again.returncode == 2 and "holds a copy already" in again.stderr

    back = run("job", "restore", str(copy), "--store", str(there))
    assert back.returncode == 0 and "are back" in back.stdout, back.stderr
    job = json.loads(run("job", "show", "26-0001", "--store", str(there), "--json").stdout)
    assert [r["text"] for r in job["readings"]][-1] == "57.9"
    assert [p["caption"] for p in job["pictures"]] == ["plate"]
    heard = [n["text"] for n in job["notes"] if n["text"].startswith("during")]
    assert heard == [f"during {n}" for n in range(len(heard))]  # none missing in between
    # the restored record is worked on, and exported with its picture
    on = run("bench", "--job", "26-0001", "--store", str(there), text="pack_rest: 57.8\n")
    assert on.returncode == 0 and "it agrees with the one before" in " ".join(on.stdout.split())
    out = run("job", "export", "26-0001", str(tmp_path / "out"), "--store", str(there))
    assert "1 pictures" in out.stdout and "Not in this record" not in out.stdout


def test_a_record_that_is_there_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store, copy = str(tmp_path / "shop.db"), str(tmp_path / "copy")
    done = run("bench", "--machine", SMALL, "--complaint", "dead", "--store", store)
    assert done.returncode == 0
    assert main(["job", "backup", copy, "--store", store]) == 0
    assert main(["job", "restore", copy, "--store", store]) == 2
    assert "already, and it stays" in capsys.readouterr().err


@pytest.mark.parametrize("what", ["missing", "empty", "other"])
def test_a_folder_without_a_backup(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], what: str
) -> None:
    folder = tmp_path / "copy"
    if what != "missing":
        folder.mkdir()
    if what == "other":
        (folder / "shop.db").write_text("not a record", encoding="utf-8")
    assert main(["job", "restore", str(folder), "--store", str(tmp_path / "a.db")]) == 2
    said = capsys.readouterr().err
    assert "cannot be read" in said or "no record" in said
    assert not (tmp_path / "a.db").exists()


def test_a_damaged_picture_of_a_backup_is_named_and_the_rest_comes_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store, copy = tmp_path / "shop.db", tmp_path / "copy"
    Image.new("RGB", (40, 30), "navy").save(tmp_path / "plate.png")
    words = ("bench", "--machine", SMALL, "--complaint", "dead", "--store", str(store))
    assert run(*words, text="picture plate.png plate\n", cwd=tmp_path).returncode == 0
    assert main(["job", "backup", str(copy), "--store", str(store)]) == 0
    (picture,) = [p for p in (copy / "shop.db.files").rglob("*.png") if "preview" not in p.name]
    picture.write_bytes(picture.read_bytes()[:-5])
    capsys.readouterr()
    assert main(["job", "restore", str(copy), "--store", str(tmp_path / "b.db")]) == 1
    assert f"damaged in the copy, and not put back: {picture.name}" in capsys.readouterr().err
    assert main(["job", "list", "--store", str(tmp_path / "b.db")]) == 0
