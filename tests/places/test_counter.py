"""The counter: what is missing stops nothing, what was here before is known, what fails is held."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from knowngood.job import counter as ct
from knowngood.job import events as ev
from knowngood.job.shop_sheet import SHOP, ShopNoted
from knowngood.places import premises
from knowngood.places.bench import take_reading
from knowngood.places.catalogue import face_named, face_of
from knowngood.places.complaints import closest_of
from knowngood.places.counter import (
    NO_CHECKS,
    Sheet,
    check_in,
    hand_back,
    holds,
    machine_of,
    note_counter,
    override_hold,
    pack_words,
    take_pack,
)
from knowngood.places.decision import check_release
from knowngood.places.gather import load_job, look, setup_of
from knowngood.places.known import customers, models, visits_of_serial
from knowngood.places.library import find_machine, shipped_machines
from knowngood.places.naming import name_machine
from knowngood.places.record import At, Record, Refused
from knowngood.store.problem import StoreProblem

MOWER = "mower-battery-56v"
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
FULL = Sheet(
    words="It cuts out when I mow up the hill", customer="Rosa Okafor", contact="555 0142",
    machine=MOWER, maker="Brackwater", model="BM-561", serial="2304-A 01175",
    complaint="cuts_out_slopes", conditions=("on slopes",),
    told=("swapped_pack_same", "no such id"),
    accessories=("charger",), packs=(ct.PackTaken("p1", "BP-1187"),), unsafe_asked=True,
    meter="generic-6000",
)  # fmt: skip


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with Record.open(tmp_path / "shop.db") as record:
        yield record


def at(minute: int, device: str = "phone-a") -> At:
    return At(NOW + timedelta(minutes=minute), "Sam", device, minute * 1000)


def test_one_unsafe_pack_of_two_holds_nothing_back_but_says_which_to_use(record: Record) -> None:
    sound, swollen = ct.PackTaken("p2", "BP-1188"), ct.PackTaken("p1", "BP-1187", "", ("swollen",))
    check_in(record, "j1", replace(FULL, packs=(swollen, sound)), at(1))
    view = look(record, "j1")
    assert view.assessment.hazards == ()
    said = "Use pack BP-1188 only; pack BP-1187 (swollen) stays outdoors, left alone."
    steps = {s.id: s.cautions for s in view.assessment.steps}
    assert said in steps["pack_rest"] and said in steps["look_pack"]
    assert said not in steps["input_ohms"], "no pack is used there"
    take_pack(record, "j1", replace(sound, trouble=("wet",)), at(2))
    view = look(record, "j1")
    assert [h.part for h in view.assessment.hazards] == ["pack"], "no sound one is left"
    assert "pack_rest" not in {s.id for s in view.assessment.steps}
    assert "pack_rest" in view.assessment.held_back


def test_a_machine_comes_in(record: Record) -> None:
    check_in(record, "j1", FULL, at(1))
    job = load_job(record, "j1")
    assert job.number == "26-0001"
    assert job.opened is not None
    assert (job.opened.complaint, job.opened.machine_id) == ("cuts_out_slopes", MOWER)
    assert [t.id for t in job.told] == ["swapped_pack_same"]
    assert [n.text for n in job.notes] == ["the customer tried: no such id"]
    assert job.counter.accessories == ("charger",)
    assert [p.serial for p in job.counter.packs] == ["BP-1187"]
    assert job.counter.contact == "555 0142"
    assert job.meter == "generic-6000"


@pytest.mark.parametrize(
    ("packs", "held"),
    [
        ((), 1),  # no pack on the sheet: it is kept all the same
        ((ct.PackTaken("p1", "BP-1187"),), 1),
        ((ct.PackTaken("p1"), ct.PackTaken("p2")), 2),  # not said which: each may be the one
        ((ct.PackTaken("p1", trouble=("swollen",)), ct.PackTaken("p2")), 1),
    ],
)
def test_yes_alone_makes_a_pack_unsafe(
    record: Record, packs: tuple[ct.PackTaken, ...], held: int
) -> None:
    check_in(record, "j1", replace(FULL, packs=packs, unsafe=True), at(1))
    it = load_job(record, "j1").counter
    assert it.unsafe_asked and len(it.unsafe_packs) == held
    assert "swollen" in pack_words(it.unsafe_packs[0])


def test_nothing_at_all_is_a_check_in_too(record: Record) -> None:
    check_in(record, "j1", Sheet(), at(1))
    job = load_job(record, "j1")
    assert job.number == "26-0001"
    with pytest.raises(Refused, match="no machine file yet: choose one on its counter sheet"):
        setup_of(record, job)
    name_machine(record, "j1", MOWER, "dead", at(2))
    job = load_job(record, "j1")
    assert job.opened is not None and job.opened.complaint == "dead"
    assert setup_of(record, job).machine.id == MOWER


def test_a_model_in_the_words_names_the_machine(record: Record) -> None:
    check_in(record, "j1", Sheet(model="bm-561", words="dead, nothing happens"), at(1))
    opened = load_job(record, "j1").opened
    assert opened is not None and (opened.machine_id, opened.complaint) == (MOWER, "dead")


def test_sent_again_by_the_same_phone_it_is_there_once(record: Record) -> None:
    check_in(record, "j1", FULL, at(1))
    check_in(record, "j1", FULL, at(2))
    with pytest.raises(Refused, match="checked in already"):
        check_in(record, "j1", FULL, at(3, "phone-b"))
    assert [e.kind for e in record.log.events("j1")].count("JobOpened") == 1


def test_the_same_serial_is_a_comeback(record: Record) -> None:
    check_in(record, "j1", FULL, at(1))
    check_in(record, "j2", replace(FULL, serial="2304a01175", packs=()), at(2))
    comeback = load_job(record, "j2").counter.comeback
    assert comeback is not None and (comeback.job, comeback.number) == ("j1", "26-0001")
    check_in(record, "j4", Sheet(serial="2304A01175", model="TW-560"), at(5))
    assert load_job(record, "j4").counter.comeback is None  # another model
    check_in(record, "j3", Sheet(), at(6))
    note_counter(record, "j3", at(7), ev.DetailsNoted(serial="2304A01175"), ct.CheckedIn())
    assert load_job(record, "j3").counter.comeback is not None
    assert [v.job for v in visits_of_serial(record, "2304 a 01175")] == ["j3", "j4", "j2", "j1"]


def test_customers_and_models_are_known_again(record: Record) -> None:
    check_in(record, "j1", FULL, at(1))
    check_in(record, "j2", Sheet(customer="Ole Lind", model="X-1", maker="Tolmin"), at(2))
    assert [v[0].customer for v in customers(record, "")] == ["Ole Lind", "Rosa Okafor"]
    ((visit,),) = customers(record, "oka r")
    assert (visit.contact, visit.model, visit.number) == ("555 0142", "BM-561", "26-0001")
    assert [m.model for m in models(record)] == ["X-1", "BM-561"]
    note_counter(record, "j2", at(3), ev.DetailsNoted(customer="Ola Lindh"), ct.CheckedIn())
    assert customers(record, "ole") == ()
    assert [v[0].customer for v in customers(record, "lindh")] == ["Ola Lindh"]


def test_complaints_by_the_customers_words() -> None:
    listed = find_machine(MOWER).it.complaints
    near = closest_of(listed, "cuts out when I mow up the hill", sharing=True)
    assert near[0].id == "cuts_out_slopes"
    assert closest_of(listed, "the moon is made of cheese", sharing=True) == ()


@pytest.mark.parametrize("name", shipped_machines())
def test_a_face_says_what_the_whole_file_says(record: Record, name: str) -> None:
    face, machine = face_named(record, name), find_machine(name).it
    assert face is not None
    assert (face.words, face.family, face.makers, face.models) == (
        machine.words, machine.family, machine.makers, machine.models,
    )  # fmt: skip
    for lines, whole in ((face.complaints, machine.complaints), (face.told, machine.told)):
        assert [(x.id, x.words) for x in lines] == [(x.id, x.words) for x in whole]  # type: ignore[attr-defined]
    assert face_of("machine: [1") is None and face_of("- 1") is None and face_of("") is None


def test_a_blank_safety_check_holds_and_an_override_lets_go(record: Record) -> None:
    check_in(record, "j1", FULL, at(1))
    machine = find_machine(MOWER).it
    first, *rest = machine.release
    back = ct.HandedBack("Rosa Okafor", "", ("charger",), ("p1",))
    with pytest.raises(Refused, match=r"held: .*not checked"):
        hand_back(record, "j1", back, "repaired", at(2))
    for n, check in enumerate(rest):
        check_release(record, "j1", check.id, "pass", at(3 + n))
    check_release(record, "j1", first.id, "fail", at(30), "turns on without the key")
    job = load_job(record, "j1")
    assert holds(machine, job) == (f"{first.words}: failed",)
    with pytest.raises(Refused, match="name of who takes it on"):
        override_hold(record, "j1", "Ida", " ", at(31))
    override_hold(record, "j1", "Ida", "sold for parts", at(32))
    hand_back(record, "j1", replace(back, packs=()), "returned unrepaired", at(33))
    job = load_job(record, "j1")
    assert job.counter.handed is not None and job.closed is not None
    assert job.counter.handed.stays == ("pack, serial BP-1187",)
    assert job.closed.outcome == "returned unrepaired"
    with pytest.raises(Refused, match="handed back already"):
        hand_back(record, "j1", back, "", at(34))
    check_release(record, "j1", first.id, "fail", at(35), "still")
    assert holds(machine_of(record, job), load_job(record, "j1"))  # the override was for before


def test_without_a_machine_file_it_is_held_too(record: Record) -> None:
    check_in(record, "j1", Sheet(customer="Ole"), at(1))
    with pytest.raises(Refused, match=NO_CHECKS):
        hand_back(record, "j1", ct.HandedBack("Ole"), "", at(2))
    override_hold(record, "j1", "Ida", "looked at by hand", at(3))
    with pytest.raises(Refused, match="who took it"):
        hand_back(record, "j1", ct.HandedBack(), "", at(4))
    hand_back(record, "j1", ct.HandedBack("Ole"), "", at(5))
    assert load_job(record, "j1").state == "closed: handed back"


def test_another_machine_is_not_named_under_readings(record: Record) -> None:
    check_in(record, "j1", FULL, at(1))
    take_reading(record, "j1", "pack_rest", "57.9 V", at(2))
    with pytest.raises(Refused, match="readings were taken already"):
        name_machine(record, "j1", "hedge-trimmer-36v", "", at(3))
    name_machine(record, "j1", MOWER, "dead", at(4))  # another complaint of it is


def test_no_file_of_the_computer_is_a_machine(record: Record, tmp_path: Path) -> None:
    secret = tmp_path / "secret.yaml"
    secret.write_text("secret: 1")
    check_in(record, "j1", Sheet(machine=str(secret)), at(1))
    assert load_job(record, "j1").machine_digest == ""
    with pytest.raises(Refused, match="there is no machine"):
        name_machine(record, "j1", str(secret), "", at(2))


def test_the_shops_sheet_is_pinned_by_the_next_job(record: Record) -> None:
    sheet = ShopNoted(
        "Alder Lane Small Engine & Cordless", "14 Alder Lane\nback yard", "555 0114", 95.0, "CAD",
        "45 to look", "30 days free", 60.0, "Europe/Vienna", ("Ida", "Sam"),
    )  # fmt: skip
    check_in(record, "j0", FULL, at(1))
    premises.note_shop(record, sheet, at(2))
    check_in(record, "j1", FULL, at(3))
    before, opened = load_job(record, "j0").opened, load_job(record, "j1").opened
    assert before is not None and opened is not None
    assert "shop" not in before.rates
    assert opened.rates["shop"] == "Alder Lane Small Engine & Cordless"
    assert (opened.rates["bench_rate"], opened.rates["currency"]) == (95.0, "CAD")
    assert load_job(record, "j1").counter.fee == "45 to look"
    assert premises.letterhead(record).lines == ("14 Alder Lane", "back yard", "555 0114")
    assert premises.people_of(record) == ("Ida", "Sam")
    # 9:00 in Greenwich is 10:00 in Vienna on 2 March (CET, UTC+1; IANA time zone database)
    assert premises.in_shop_time(record, NOW).hour == 10
    assert SHOP not in {one.job for one in record.log.jobs()}
    with pytest.raises(Refused, match="no job 'shop'"):
        load_job(record, SHOP)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [({"zone": "Middle/Earth"}, "no time zone"), ({"bench_rate": -1.0}, "bench rate"),
     ({"keep_days": 1e9}, "days"), ({"people": tuple("abcdefgh" * 6)}, "names"),
     ({"currency": "$"}, "three letters"), ({"currency": "Euro"}, "'EURO' is no currency")],
)  # fmt: skip
def test_a_sheet_that_cannot_be(record: Record, wrong: dict[str, object], said: str) -> None:
    with pytest.raises(Refused, match=said):
        premises.note_shop(record, replace(ShopNoted(), **wrong), at(1))  # type: ignore[arg-type]


def test_a_machine_file_that_got_lost_opens_no_new_job(record: Record) -> None:
    check_in(record, "j1", FULL, at(1))
    lost = record.files.keep_text("id: gone")
    record.append("j2", [ev.JobOpened("26-0002", "own-file", lost, "dead")], at(2))
    record.files.path_of(lost).unlink()
    check_in(record, "j3", Sheet(machine="own-file"), at(3))
    assert load_job(record, "j3").machine_digest == ""
    with pytest.raises(StoreProblem):
        machine_of(record, load_job(record, "j2"))


def test_with_every_check_passed_it_goes_home_repaired(record: Record) -> None:
    check_in(record, "j1", FULL, at(1))
    machine = find_machine(MOWER).it
    for n, check in enumerate(machine.release):
        check_release(record, "j1", check.id, "pass", at(2 + n))
    assert holds(machine, load_job(record, "j1")) == ()
    step = next(t for t in machine.teardown if t.role == "")
    record.append("j1", [ev.StepOpened(step.id, step.words)], at(40))
    with pytest.raises(Refused, match="came off after it"):  # opened again: the checks are stale
        hand_back(record, "j1", ct.HandedBack("Rosa Okafor"), "repaired", at(41))
    for n, check in enumerate(machine.release):
        check_release(record, "j1", check.id, "pass", at(42 + n))
    with pytest.raises(Refused, match="not complete"):
        hand_back(record, "j1", ct.HandedBack("Rosa Okafor"), "repaired", at(80))
    record.append("j1", [ev.StepClosed(step.id)], at(81))
    hand_back(record, "j1", ct.HandedBack("Rosa Okafor", "", ("charger",), ("p1",)), "repaired",
              at(82))  # fmt: skip
    job = load_job(record, "j1")
    assert job.closed is not None and job.closed.outcome == "repaired"
    assert job.counter.handed is not None and job.counter.handed.stays == ()
