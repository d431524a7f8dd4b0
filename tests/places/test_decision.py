"""Told, accepted, called, decided, causes, release."""

from __future__ import annotations

import pytest

from knowngood.documents.claim import claim_document
from knowngood.places import decision
from knowngood.places.bench import take_reading, withdraw
from knowngood.places.calling import proving_steps
from knowngood.places.gather import View
from knowngood.places.library import part_number
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
    ("serial", "number"), [("4999", "BW-310"), ("5000", "BW-311"), ("", "BW-310"), ("12", "BW-310")]
)
def test_the_serial_decides_the_part_number(dead: View, serial: str, number: str) -> None:
    controller = next(p for p in dead.machine.parts if p.id == "controller")
    assert part_number(controller, "BT-5", serial) == number


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
