"""A step that the file did not know is kept in it with one tap; the old job stays as it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from knowngood.job import apart as ap
from knowngood.job import events as ev
from knowngood.machines.check import report_text
from knowngood.places import apart
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.gather import View, load_job, look, setup_of
from knowngood.places.library import find_machine
from knowngood.places.own_machines import keep_file, own_bases, own_file
from knowngood.places.record import At, Record, Refused
from knowngood.places.teach import lessons, teach

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SMALL = Path(__file__).parent / "small.yaml"
PICTURE = "9" * 64


def at(minutes: float, by: str = "Sam") -> At:
    return At(START + timedelta(minutes=minutes), by)


def opened(record: Record, machine: str, complaint: str = "dead") -> str:
    check_in = CheckIn(find_machine(machine), complaint, maker="Brackwater", model="BM-561")
    return open_job(record, check_in, at(0)).job.id


def took_apart(record: Record, job: str, first: str, then: str) -> None:
    """A step of the file, one of the job's own with all that was noted, one of the file again."""
    record.append(job, [ev.NoteAdded("begins")], at(1))
    if first == "blade_off":
        apart.take_off(record, job, "pack_out", at(2))
    apart.take_off(record, job, first, at(3))
    apart.take_off(record, job, "own-1", at(5), words="Sticker over the hidden screw")
    kinds = apart.fasteners_noted([{"count": 2, "drive": "T20", "where": "under the sticker"}])
    noted = ap.StepNoted("own-1", kinds, ("J1: red, black",), ("spring",), "under the rib")
    apart.note_step(record, job, noted, at(5))
    record.append(job, [ev.PictureAdded(PICTURE, "the sticker", "own-1")], at(5))
    apart.take_off(record, job, then, at(14))


def kept(record: Record, view: View) -> str:
    taught = view.job.apart.taught["own-1"]
    own = own_file(record, taught.machine_id)
    assert own is not None
    return own.text


@pytest.mark.slow
def test_on_a_shipped_family_the_shop_gets_a_variant_of_its_own(record: Record) -> None:
    job = opened(record, "mower-battery-56v")
    took_apart(record, job, "blade_off", "cover")
    pinned = load_job(record, job).machine_digest
    view = teach(record, job, "own-1", at(20))
    text = kept(record, view)
    assert text.startswith("# What this shop has learned")
    assert "based_on: mower-battery-56v" in text and "models: [BM-561]" in text
    machine, report = report_text(text, "shop", own_bases(record))
    assert report.problems == () and machine is not None, "machine check is green"
    step = next(t for t in machine.teardown if t.words == "Sticker over the hidden screw")
    assert (step.minutes, step.needs) == (2.0, ("blade_off",))
    screws = [(f.count, f.drive, f.where) for f in step.fasteners]
    assert screws == [(2, "T20", "under the sticker")]
    assert step.pictures == (PICTURE,)
    assert step.traps == ("J1: red, black", "loose here: spring", "wires ran: under the rib")
    assert step.source == f"measured in this shop, job {view.job.name}, 2026-03-02"
    cover = next(t for t in machine.teardown if t.id == "cover")
    assert step.id in cover.needs, "the cover came off after it"
    assert view.job.machine_digest == pinned
    assert all(t.words != step.words for t in setup_of(record, view.job).machine.teardown)


def test_a_second_job_of_the_model_goes_into_the_same_file(record: Record) -> None:
    first, second = (opened(record, "mower-battery-56v") for _ in range(2))
    took_apart(record, first, "blade_off", "cover")
    took_apart(record, second, "blade_off", "console")
    one = teach(record, first, "own-1", at(20)).job.apart.taught["own-1"]
    two = teach(record, second, "own-1", at(21)).job.apart.taught["own-1"]
    assert one == two, "the same words are the same step"
    with pytest.raises(Refused, match="already"):
        teach(record, second, "own-1", at(22))


def test_the_shops_own_file_keeps_comments_and_order(record: Record) -> None:
    text = SMALL.read_text(encoding="utf-8").replace(
        "teardown:\n", "teardown:   # as I take it apart\n"
    )
    keep_file(record, text, "test-mower", at(0))
    job = opened(record, str(SMALL))
    took_apart(record, job, "handle", "cover")
    after = kept(record, teach(record, job, "own-1", at(20), alone=True))
    added = after[after.index("  sticker_over_the_hidden_screw:"): after.index("\nconditions:")]
    assert after.replace(f"\n{added}", "") == text, "not one other sign has changed"
    assert "needs: [handle]" in added
    again = opened(record, str(SMALL))
    assert own_file(record, "test-mower") is not None
    assert load_job(record, again).machine_digest != ""


@pytest.mark.slow
def test_minutes_by_the_clock_are_offered_and_taken(record: Record) -> None:
    job = opened(record, "mower-battery-56v")
    record.append(job, [ev.NoteAdded("begins")], at(1))
    apart.take_off(record, job, "pack_out", at(2))
    view = apart.take_off(record, job, "cover", at(11))
    one = next(x for x in lessons(view.machine, view.job) if x.step == "cover")
    assert (one.new, one.minutes, one.said) == (False, 9.0, "4 min in the file, 9 min here")
    taught = teach(record, job, "cover", at(12)).job.apart.taught["cover"]
    own = own_file(record, taught.machine_id)
    assert own is not None and "minutes: 9" in own.text
    machine, report = report_text(own.text, "shop", own_bases(record))
    assert report.problems == () and machine is not None
    assert next(t.minutes for t in machine.teardown if t.id == "cover") == 9.0


def test_fasteners_and_pictures_of_a_step_of_the_file_are_kept_too(record: Record) -> None:
    text = SMALL.read_text(encoding="utf-8")
    keep_file(record, text, "test-mower", at(0))
    job = opened(record, str(SMALL))
    record.append(job, [ev.NoteAdded("begins")], at(1))
    apart.take_off(record, job, "cover", at(6))  # as long as the file says
    view = apart.note_step(record, job, ap.StepNoted("cover", apart.fasteners_noted(
        [{"count": 8, "drive": "T25"}])), at(6))  # fmt: skip
    assert lessons(view.machine, view.job) == (), "as in the file"
    apart.note_step(record, job, ap.StepNoted("cover", apart.fasteners_noted(
        [{"count": 7, "drive": "T25", "where": "rim"}])), at(7))  # fmt: skip
    record.append(job, [ev.PictureAdded(PICTURE, "the cover", "cover")], at(7))
    view = look(record, job)
    (one,) = lessons(view.machine, view.job)
    assert one.said == "8 x T25 in the file, 7 x T25 (rim) here. 1 more picture"
    taught = teach(record, job, "cover", at(8)).job.apart.taught["cover"]
    own = own_file(record, taught.machine_id)
    assert own is not None
    machine, report = report_text(own.text, "shop", own_bases(record))
    assert report.problems == () and machine is not None, "machine check is green"
    step = next(t for t in machine.teardown if t.id == "cover")
    assert [(f.count, f.drive, f.where) for f in step.fasteners] == [(7, "T25", "rim")]
    assert (step.pictures, step.minutes, step.caution) == (
        (PICTURE,), 5.0, "Wait, then measure the capacitor",
    )  # fmt: skip
    with pytest.raises(Refused, match="already"):
        teach(record, job, "cover", at(9))


def test_what_comes_after_a_step_was_kept_can_be_kept_too(record: Record) -> None:
    """Kept while it lies on the bench; at the rebuild it is timed, counted and pictured again."""
    keep_file(record, SMALL.read_text(encoding="utf-8"), "test-mower", at(0))
    job = opened(record, str(SMALL))
    took_apart(record, job, "handle", "cover")
    taught = teach(record, job, "own-1", at(20)).job.apart.taught["own-1"]
    view = look(record, job)
    (mine,) = [x for x in lessons(view.machine, view.job) if x.step == "own-1"]
    assert mine.taught == "test-mower", "nothing new yet"
    more = "8" * 64
    record.append(job, [ev.PictureAdded(more, "where it goes", "own-1")], at(21))
    record.append(job, [ev.MinutesNoted("back own-1", 6.0, True)], at(30))
    apart.note_step(record, job, ap.StepNoted("own-1", apart.fasteners_noted(
        [{"count": 3, "drive": "T20", "where": "under the sticker"}])), at(31))  # fmt: skip
    view = look(record, job)
    (mine,) = [x for x in lessons(view.machine, view.job) if x.step == "own-1"]
    assert (mine.taught, mine.new) == ("", False)
    assert mine.said == "back on: 6 min here. 3 x T20 (under the sticker) here. 1 more picture"
    assert teach(record, job, "own-1", at(32)).job.apart.taught["own-1"].file_step == (
        taught.file_step
    )
    own = own_file(record, "test-mower")
    assert own is not None
    machine, report = report_text(own.text, "shop", own_bases(record))
    assert report.problems == () and machine is not None
    step = next(t for t in machine.teardown if t.id == taught.file_step)
    assert (step.minutes, step.back_minutes) == (2.0, 6.0)
    assert step.pictures == (PICTURE, more) and [f.count for f in step.fasteners] == [3]
    assert "handle" in step.needs and step.traps, "and all that was kept before"
    with pytest.raises(Refused, match="already"):
        teach(record, job, "own-1", at(33))


def test_minutes_of_putting_back_are_offered_by_themselves(record: Record) -> None:
    keep_file(record, SMALL.read_text(encoding="utf-8"), "test-mower", at(0))
    job = opened(record, str(SMALL))
    record.append(job, [ev.NoteAdded("begins")], at(1))
    view = apart.take_off(record, job, "cover", at(6))
    assert lessons(view.machine, view.job) == ()
    record.append(job, [ev.MinutesNoted("back cover", 17.0, True)], at(30))
    view = look(record, job)
    (one,) = lessons(view.machine, view.job)
    was = next(t.back_minutes for t in view.machine.teardown if t.id == "cover")
    assert one.said == f"back on: {was:g} min in the file, 17 min here"


def test_what_is_not_there_is_refused_and_nothing_is_written(record: Record) -> None:
    job = opened(record, "mower-battery-56v")
    before = record.log.newest()
    with pytest.raises(Refused, match="nothing new"):
        teach(record, job, "cover", at(5))
    assert record.log.newest() == before
