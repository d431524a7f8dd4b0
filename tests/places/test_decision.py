"""Told, accepted, called, decided, causes, release."""

from __future__ import annotations

from typing import Final

import pytest

from knowngood.documents.claim import claim_document
from knowngood.machines.machine import Machine, PartNumber, ServicePart
from knowngood.machines.serial import in_order
from knowngood.measure.meter import MeterSheet
from knowngood.places import decision
from knowngood.places.bench import note_details, take_reading, withdraw
from knowngood.places.calling import proving_steps
from knowngood.places.gather import View, look
from knowngood.places.library import Known, number_wants, part_number
from knowngood.places.opening import CheckIn, open_job
from knowngood.places.premises import letterhead
from knowngood.places.record import Record, Refused
from knowngood.places.sentence import proof_sentence
from tests.documents.test_claim import fact
from tests.places.conftest import at


def proven(record: Record, dead: View) -> View:
    take_reading(record, dead.job.id, "pack_rest", "57.9 V", at(3))
    take_reading(record, dead.job.id, "box_ohms", "OL", at(9))
    return take_reading(record, dead.job.id, "box_ohms", "OL", at(9))[1]


def test_what_the_customer_tried_lowers_what_it_speaks_against(record: Record, dead: View) -> None:
    view = decision.tell(record, dead.job.id, ["swapped_pack"], at(1))
    before = {s.id: s.belief for s in dead.assessment.suspects}
    after = {s.id: s.belief for s in view.assessment.suspects}
    # By Bayes: the odds of a dead pack against an open start box fall by .03/.6.
    odds = before["pack_dead"] / before["box_open"] * 0.03 / 0.6
    assert after["pack_dead"] / after["box_open"] == pytest.approx(odds, rel=1e-9)
    assert not view.assessment.proof.proven


def test_asking_and_hearing_nothing_is_kept(record: Record, dead: View) -> None:
    view = decision.tell(record, dead.job.id, [], at(1))
    assert [n.text for n in view.job.notes] == [decision.ASKED_NOTHING]
    with pytest.raises(Refused, match="nothing told by the name"):
        decision.tell(record, dead.job.id, ["nonsense"], at(1))


def test_a_part_accepted_on_a_word_needs_no_test(record: Record, dead: View) -> None:
    view = decision.accept(record, dead.job.id, "battery pack", "Mr. Vale", at(1))
    pack = next(p for p in view.assessment.parts if p.id == "pack")
    assert (pack.standing, pack.evidence) == ("accepted", "accepted by Mr. Vale")
    with pytest.raises(Refused, match="accept PART by NAME"):
        decision.accept(record, dead.job.id, "pack", " ", at(1))
    with pytest.raises(Refused, match="Did you mean harness"):
        decision.accept(record, dead.job.id, "harnss", "Ana", at(1))


def test_a_called_part_leaves_its_proof(record: Record, dead: View) -> None:
    view = decision.call(record, dead.job.id, "start box", at(1))
    assert view.assessment.proof.parts == {"start_box"}
    assert not view.assessment.proof.proven
    assert proving_steps(view)[0].id == "box_ohms"
    view = decision.uncall(record, dead.job.id, at(2))
    assert view.job.called == ()


def test_the_decision_keeps_what_was_shown(record: Record, dead: View) -> None:
    view = proven(record, dead)
    view = decision.decide(record, dead.job.id, at(10))
    kept = view.job.decision
    assert kept is not None
    assert (kept.part, kept.number, kept.proven) == ("start_box", "BW-210", True)
    assert kept.sentence == proof_sentence(view.setup, view.assessment)
    assert kept.proof["readings"] == [r.id for r in view.job.readings[-2:]]
    assert kept.proof["part_price"] == 42
    suspects = {s["suspect"] for s in kept.proof["shown_out"]}
    assert "pack dead" in suspects and "start box switch open" not in suspects


def test_the_sentence_says_what_it_reads_and_what_a_good_one_reads(
    record: Record, dead: View
) -> None:
    view = proven(record, dead)
    assert proof_sentence(view.setup, view.assessment) == (
        "The start box is bad: start box closed reads OL where a good one reads at most 2 ohm. No "
        "other listed fault makes it do so."
    )


def test_without_proof_the_decision_says_what_is_missing(record: Record, dead: View) -> None:
    view = decision.decide(record, dead.job.id, at(1), "controller")
    kept = view.job.decision
    assert kept is not None and not kept.proven
    assert kept.sentence.startswith("Decided without proof: not yet shown out by a reading")


def test_a_withdrawn_reading_asks_to_look_at_the_decision_again(record: Record, dead: View) -> None:
    view = proven(record, dead)
    decision.decide(record, dead.job.id, at(10))
    view = withdraw(record, dead.job.id, view.job.readings[-1].id, "no contact", at(11))
    assert any("was withdrawn" in one.why for one in view.job.look_at_this)


def test_causes_are_asked_once_each(record: Record, dead: View) -> None:
    proven(record, dead)
    view = decision.decide(record, dead.job.id, at(10))
    assert decision.open_causes(view) == ("water",)
    view = decision.answer_cause(record, dead.job.id, "water", "yes", at(11), "green inside")
    assert decision.open_causes(view) == ()
    cause = view.job.causes[0]
    assert (cause.answer, cause.evidence, cause.mend) == (
        "yes", "green inside", "Dry it and mend its lid",
    )  # fmt: skip


def test_no_machine_leaves_with_a_check_failed_or_blank(record: Record, dead: View) -> None:
    job = dead.job.id
    with pytest.raises(Refused, match="not checked yet: Blade seen still"):
        decision.close_job(record, job, "repaired", at(1))
    decision.check_release(record, job, "blade_stop", "pass", at(2))
    with pytest.raises(Refused, match="needs its reason"):
        decision.check_release(record, job, "two_actions", "fail", at(3))
    decision.check_release(record, job, "two_actions", "fail", at(3), "starts on one")
    with pytest.raises(Refused, match="failed It needs two actions"):
        decision.close_job(record, job, "repaired", at(4))
    view = decision.close_job(record, job, "returned unrepaired", at(5))
    assert view.job.state == "closed: returned unrepaired"


@pytest.mark.parametrize(
    ("serial", "number"),
    [("4999", "BW-310"), ("5000", "BW-311"), ("12", "BW-310"), ("12000", "BW-311")],
)
def test_the_serial_decides_the_part_number(dead: View, serial: str, number: str) -> None:
    controller = next(p for p in dead.machine.parts if p.id == "controller")
    assert part_number(controller, "BT-5", serial) == number


VE: Final = (
    PartNumber("VE-100", ("VE",), serial_to="A4999"),
    PartNumber("VE-101", ("VE",), serial_from="A5000", supersedes=("VE-100",)),
)


@pytest.mark.parametrize(
    ("model", "serial", "number", "wants"),
    [("ve", "A999", "VE-100", ""), ("VE", "a-12000", "VE-101", ""),
     ("VE", "", "", "the number of motor goes by the serial"),
     ("VE", "B6000", "", "the number of motor goes by the serial, and B6000 is not written like"),
     ("VE", "6000", "", "the number of motor goes by the serial, and 6000 is not written like"),
     ("", "A6000", "", "the number of motor goes by the model (VE)"),
     ("QX", "", "", ""), (None, "A1", "VE-100", ""), (None, "", "", "by the serial")],
)  # fmt: skip
def test_what_decides_the_number_and_is_missing_is_named(
    model: str | None, serial: str, number: str, wants: str
) -> None:
    motor = ServicePart("motor", "Motor", (), VE, 42.0, 5.0)
    found = number_wants(motor, model, serial)
    assert part_number(motor, model, serial) == number
    assert (wants in found.why) if found else not wants
    assert found is None or wants


def test_a_newer_number_for_every_serial_goes_before_the_one_it_replaces() -> None:
    numbers = (PartNumber("A-1"), PartNumber("A-2", supersedes=("A-1",)))
    part = ServicePart("box", "Start box", (), numbers, 42.0, 5.0)
    assert part_number(part, "BT-5") == "A-2" and number_wants(part, "") is None


@pytest.mark.parametrize(
    ("low", "high", "found"),
    [("A999", "A5000", True), ("A12000", "A4999", False), ("2304A01175", "2402Z99999", True),
     ("2402B00005", "2402Z99999", True), ("2403A1", "2402Z99999", False), ("A1", "B2", None),
     ("5000", "A5000", None), ("2304AB1", "2304C1", None), ("A-500", "a500", True),
     ("", "7", None)],
)  # fmt: skip
def test_serials_stand_in_order(low: str, high: str, found: bool | None) -> None:
    assert in_order(low, high) is found


def test_the_number_is_known_once_the_serial_is(
    record: Record, small: Known[Machine], meter: Known[MeterSheet]
) -> None:
    dead = open_job(record, CheckIn(small, "dead", "it is dead", meter, model="BT-5"), at())
    view = decision.decide(record, dead.job.id, at(3), "controller")
    assert view.job.decision is not None and view.job.decision.number == ""
    proof = decision.proof_for(view, "controller")
    assert decision.decided_already(view, proof)
    note_details(record, dead.job.id, at(4), serial="12000")
    view = look(record, dead.job.id)
    assert not decision.decided_already(view, decision.proof_for(view, "controller"))
    view = decision.decide(record, dead.job.id, at(5), "controller")
    assert view.job.decision is not None and view.job.decision.number == "BW-311"


def test_where_the_number_was_read_stands_with_the_decision_and_on_the_claim(
    record: Record, dead: View
) -> None:
    proven(record, dead)
    view = decision.decide(record, dead.job.id, at(12))
    assert view.job.decision is not None
    assert view.job.decision.number == "BW-210"
    assert view.job.decision.proof["read_at"] == "the old part, 3 March 2026"
    paper = claim_document(view.job, view.machine, letterhead(record), at(13).now)
    assert fact(paper, "Number read at") == "the old part, 3 March 2026"
