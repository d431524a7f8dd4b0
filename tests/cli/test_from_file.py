"""A job on a machine file of a person's own: it is told, an edit noticed, nothing read lost."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from knowngood.cli.bench import bench
from knowngood.cli.jobs import show
from knowngood.job.events import MachineFileNoted
from knowngood.job.job import Job, replay
from knowngood.store.log import Log
from tests.cli.test_bench import SMALL

FIRST = "yes\nnothing\nnone\npack_rest: 57.9\nwater_marks: yes\n"


class Shop:
    """A record in one folder, a machine file in another, sessions begun in a third."""

    def __init__(self, folder: Path, said: pytest.CaptureFixture[str]) -> None:
        self.store, self.folder, self.capture = folder / "shop.db", folder, said
        self.file = folder / "machines" / "mower.yaml"
        self.file.parent.mkdir()
        self.file.write_text(Path(SMALL).read_text("utf-8"), "utf-8")

    def play(self, lines: str, machine: str | None = None) -> str:
        """What was said, on one line of text."""
        typed = self.folder / "typed.txt"
        typed.write_text(lines, "utf-8")
        job = None if machine else "26-0001"
        code = bench(machine, "dead" if machine else None, job, "generic-6000", self.store, typed,
                     by="Ada")  # fmt: skip
        out, err = self.capture.readouterr()
        assert code == 0, err
        return " ".join(out.split())

    def edit(self, old: str, new: str) -> None:
        text = self.file.read_text("utf-8")
        assert old in text
        self.file.write_text(text.replace(old, new), "utf-8")

    def job_show(self) -> str:
        assert show(self.store, "26-0001") == 0
        return " ".join(self.capture.readouterr().out.split())

    @property
    def job(self) -> Job:
        with Log.open(self.store, make=False) as log:
            return replay(log.events(log.find("26-0001")))


@pytest.fixture
def shop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Shop:
    made = Shop(tmp_path, capsys)
    monkeypatch.chdir(made.file.parent)
    made.play(FIRST, "mower.yaml")  # named as one does from its own folder
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    return made


def test_a_job_gone_on_with_from_another_folder_names_its_file(shop: Shop) -> None:
    said = shop.play("readings\n")
    assert f"Machine file: {shop.file}" in said
    assert "edited" not in said and "pack volts at rest" in said
    assert f"Machine file: {shop.file}" in shop.job_show()
    show(shop.store, "26-0001", json_out=True)
    told = json.loads(shop.capture.readouterr().out)
    assert told["machine_file"]["path"] == str(shop.file)


def test_a_file_that_is_gone_stops_nothing_and_its_new_place_is_kept(shop: Shop) -> None:
    moved = shop.folder / "elsewhere" / "ours.yaml"
    shop.file.rename(moved)
    said = shop.play("box_ohms: 0.2\nnewer ours.yaml\n")
    assert "it cannot be read there now; the job keeps what it said: newer FILE.yaml says" in said
    assert "start box closed: 0.2 ohm" in said
    assert "the file says what the job has already" in said
    assert f"Machine file: {moved}" in shop.job_show()


def test_an_edit_is_noticed_and_taken_with_what_has_no_test_any_more_named(shop: Shop) -> None:
    pinned = shop.job.machine_digest
    shop.edit("water_marks", "damp_marks")
    shop.edit("Small test mower", "Our mower")
    said = shop.play("readings\n")
    told = "edited since, and the job keeps what it said then"
    assert f"Machine file: {shop.file} {told}: newer takes it, newer no stays" in said
    assert "Job 26-0001, Small test mower" in said and shop.job.machine_digest == pinned
    assert f"Machine file: {shop.file} {told}" in shop.job_show()

    said = shop.play("newer\nreadings\n")
    assert "kept: the job goes on with the file as it is now" in said
    at = next(n for n, r in enumerate(shop.job.readings, 1) if r.test == "water_marks")
    lost = f"without a test in it, kept as notes that count for nothing: [{at}] start box dry? yes"
    assert lost in said
    assert "pack volts at rest" in said.partition(lost)[2]
    assert len(shop.job.live_readings) == len(shop.job.readings)  # none was withdrawn
    assert shop.job.machine_digest != pinned
    said = shop.play("readings\n")
    assert "Job 26-0001, Our mower" in said and "edited since" not in said


def test_a_step_that_is_open_may_be_gone_from_the_newer_file(shop: Shop) -> None:
    shop.play("open handle\n")
    shop.file.write_text(re.sub(r"\bhandle\b", "lid", shop.file.read_text("utf-8")), "utf-8")
    assert "goes on with the file as it is now" in shop.play("newer\n")
    said = shop.play("back handle\n")
    assert "put back" in said, said


def test_to_stay_is_asked_once_for_an_edit(shop: Shop) -> None:
    pinned = shop.job.machine_digest
    shop.edit("Small test mower", "Our mower")
    assert "the job stays with its machine file as it was" in shop.play("newer no\n")
    said = shop.play("steps\n")
    assert "edited since" not in said and shop.job.machine_digest == pinned
    shop.edit("Our mower", "Our other mower")
    assert "edited since" in shop.play("steps\n")


def test_a_file_with_problems_or_of_another_machine_is_not_taken(shop: Shop) -> None:
    pinned = shop.job.machine_digest
    shop.edit("Small test mower", "Our mower\nwings: 2")
    said = shop.play("newer\n")
    assert "wings" in said and shop.job.machine_digest == pinned
    shop.edit("\nwings: 2", "")
    shop.edit("machine: test-mower", "machine: other-mower")
    assert "is of other-mower, this job of test-mower" in shop.play("newer\n")
    assert shop.job.machine_digest == pinned


def test_a_decided_part_must_be_in_the_newer_file(shop: Shop) -> None:
    shop.play("box_ohms: OL\nbox_ohms: OL\nyes\n")
    assert shop.job.decision is not None
    whole = shop.file.read_text("utf-8")
    shop.edit("start_box", "box")
    assert "has no part start_box, on which this job is decided" in shop.play("newer\n")
    shop.file.write_text(whole.replace("Small test mower", "Our mower"), "utf-8")
    assert "goes on with" in shop.play("newer\n")
    assert [look.why for look in shop.job.look_at_this] == ["a newer machine file was adopted"]


def test_a_shipped_machine_has_no_file_until_one_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = Shop(tmp_path, capsys)
    said = shop.play("newer\nnewer no\n", "mower-battery-56v")
    assert said.count("newer FILE.yaml names one") == 2
    assert shop.job.machine_file is None
    assert "Machine file" not in shop.job_show()


def test_a_variant_is_the_same_under_whatever_name_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = Shop(tmp_path, capsys)
    (shop.file.parent / "base.yaml").write_text(
        shop.file.read_text("utf-8").replace("machine: test-mower", "machine: base"), "utf-8"
    )
    shop.file.write_text("machine: ours\nbased_on: base\nwords: Ours\n", "utf-8")
    monkeypatch.chdir(shop.file.parent)
    shop.play(FIRST, "mower.yaml")
    monkeypatch.chdir(tmp_path)
    assert "edited since" not in shop.play("steps\n")
    family = shop.file.parent / "base.yaml"
    family.write_text(family.read_text("utf-8").replace("open the start box", "lid off"), "utf-8")
    assert f"{shop.file} edited since" in shop.play("steps\n")


def test_what_is_noted_of_the_file_is_an_event_of_the_job(shop: Shop) -> None:
    with Log.open(shop.store, make=False) as log:
        events = log.events(log.find("26-0001"))
    found = [e.event for e in events if isinstance(e.event, MachineFileNoted)]
    assert [f.path for f in found] == [str(shop.file)] and len(found[0].digest) == 64
