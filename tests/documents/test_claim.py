"""The claim as data: every figure of the record is on it, nothing is worked out again."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from knowngood.documents.claim import claim_document, is_pack
from knowngood.documents.document import (
    Box,
    Document,
    Facts,
    NewPage,
    Pictures,
    Table,
    plain_data,
    texts,
)
from knowngood.documents.parties import Given, Shop
from knowngood.job import events as ev
from knowngood.job.job import Job
from knowngood.machines.machine import Limits, ServicePart
from tests.documents import mower
from tests.documents.mower import MACHINE, NOW, SHOP, STORY, told, with_decision

PRICED = replace(
    mower.GIVEN, prices={mower.DECIDED.part: (Decimal("18.40"), "list of Tolmin")}
)


def claim(*story: ev.Event, given: Given | None = mower.GIVEN, shop: Shop = SHOP) -> Document:
    return claim_document(told(*(story or STORY)), MACHINE, shop, NOW, given)


def words(document: Document) -> str:
    return "\n".join(texts(document))


def page_one(document: Document) -> str:
    cut = next(n for n, block in enumerate(document.blocks) if isinstance(block, NewPage))
    return "\n".join(texts(document.blocks[:cut]))


def fact(document: Document, label: str) -> str:
    rows = [row for b in document.blocks if isinstance(b, Facts) for row in b.rows]
    for block in document.blocks:
        if isinstance(block, Box):
            rows += [row for b in block.blocks if isinstance(b, Facts) for row in b.rows]
    return next(row.text for row in rows if row.label == label)


def table(document: Document, first_column: str) -> Table:
    inner = [b for box in document.blocks if isinstance(box, Box) for b in box.blocks]
    tables = [b for b in (*document.blocks, *inner) if isinstance(b, Table)]
    return next(one for one in tables if one.columns[0].title == first_column)


def rows(document: Document, first_column: str) -> list[list[str]]:
    return [[cell.text for cell in row.cells] for row in table(document, first_column).rows]


def test_page_one_names_machine_complaint_cause_correction_and_dates() -> None:
    paper = claim()
    assert (paper.title, paper.reference, paper.date) == (
        "Warranty claim", "job 26-1042", "4 March 2026",
    )  # fmt: skip
    assert fact(paper, "Maker") == "Tolmin"
    assert fact(paper, "Model") == "M46"
    assert fact(paper, "Serial") == "TM46-0093317"
    assert fact(paper, "In service") == "14 May 2025"
    assert fact(paper, "Failed") == "27 February 2026"
    assert fact(paper, "Received") == "2 March 2026"
    assert fact(paper, "Complaint") == f"“{mower.WORDS}”"
    assert fact(paper, "Cause") == (
        "Bail switch: open (contacts burnt open). Why it failed: water in the handle box (rust on "
        "both contacts, the seal is split). Looked for and not found: cable rubbed through."
    )
    assert fact(paper, "Correction") == (
        "To be replaced: bail switch, part number TO-4417-02. The record does not show it fitted. "
        "Also to do, so that the new one lasts: dried, new seal fitted."
    )


def test_the_proof_says_reading_meter_uncertainty_and_what_a_good_one_reads() -> None:
    said = page_one(claim())
    assert mower.DECIDED.sentence in said
    assert (
        "Volts across the bail switch, bail held: 54.08 V ± 0.35 V, measured with generic-6000, "
        "range 60 V, by Ana. A good one reads at most 100 mV (invented for the demo)."
    ) in said
    assert "no other than" not in said  # that is said once
    assert "Shown good by a reading: 56 V pack and main fuse." in said
    assert "not measured: motor controller (accepted by M. Rowe)" in said


def test_what_is_not_known_is_not_given() -> None:
    paper = claim(given=None)
    for label in ("In service", "Failed", "Purchase proof", "Hours", "Use"):
        assert fact(paper, label) == "not given"
    assert "Claim number" not in words(paper)


def test_money_is_minutes_at_the_rate_and_the_part() -> None:
    # By hand: 14.5 min x 95.00 / 60 = 22.958..., and 22.96 + 18.40 = 41.36.
    assert rows(claim(given=PRICED), "For") == [
        ["Labour, 14.5 min", "95.00 USD an hour, the bench rate", "22.96 USD"],
        ["1 x bail switch", "list of Tolmin", "18.40 USD"],
        ["Claimed", "before tax", "41.36 USD"],
    ]


def test_the_example_price_of_a_machine_file_is_no_money() -> None:
    assert any(part.price for part in MACHINE.parts if part.id == mower.DECIDED.part)
    assert rows(claim(), "For") == [
        ["Labour, 14.5 min", "95.00 USD an hour, the bench rate", "22.96 USD"],
        ["1 x bail switch", "price not given", ""],
        ["Claimed, without what is not given", "before tax", "22.96 USD"],
    ]
    assert "18.40" not in words(claim())


def test_the_rate_of_the_day_stands_against_a_later_rate_of_the_shop() -> None:
    assert rows(claim(shop=replace(SHOP, bench_rate=140.0, currency="EUR")), "For") == rows(
        claim(), "For"
    )


def test_the_programmes_own_rate_goes_first() -> None:
    # By hand: 14.5 min x 60.00 / 60 = 14.50.
    paper = claim(given=Given(labour_rate=60.0))
    assert rows(paper, "For")[0] == [
        "Labour, 14.5 min", "60.00 USD an hour, the programme's rate", "14.50 USD",
    ]  # fmt: skip


def test_no_rate_and_no_price_are_said_and_not_guessed() -> None:
    story = [replace(mower.OPENED, rates={}), *STORY[1:]]
    job = told(*story)
    free = replace(MACHINE, parts=())
    paper = claim_document(job, free, Shop("Alder Lane"), NOW)
    assert rows(paper, "For") == [
        ["Labour, 14.5 min", "rate not given", ""],
        ["1 x bail switch", "price not given", ""],
        ["Claimed, without what is not given", "", "not given"],
    ]


def test_readings_with_limits_verdict_grade_meter_and_state() -> None:
    paper = claim()
    shown = table(paper, "Question, and state of the machine")
    # By hand from the sheet (0.5 % + 3 x 0.01 V): 2 x (0.2706 + 0.03) / sqrt 3 = 0.347 V; for
    # 12 mV on 600 mV (0.5 % + 5 x 0.1 mV, typed to 1 mV): 2 x sqrt(0.56^2 + 0.5^2) / sqrt 3 = 0.87.
    assert [[c.text for c in row.cells] for row in shown.rows] == [
        ["Pack volts at rest", "54.12 V ± 0.35 V", "50 V to 58.8 V (invented for the demo)",
         "good", "measured by Ana"],
        ["Volts across the bail switch, bail held", "54.08 V ± 0.35 V",
         "at most 100 mV (invented for the demo)", "not good", "measured by Ana"],
        ["Volts across the main fuse", "12 mV ± 0.87 mV",
         "at most 200 mV (invented for the demo)", "good", "measured by Ana"],
        ["Rust inside the handle box?", "yes", "-", "not good", "seen by Ana"],
        ["charged the pack overnight: the light went green", "-", "-", "-",
         "told by the customer"],
        ["motor controller", "-", "-", "taken as good", "accepted by M. Rowe"],
    ]  # fmt: skip
    assert [row.note for row in shown.rows] == [""] * 6
    pack = shown.rows[0].cells
    assert pack[0].note == "Pack out and kept by you"
    assert pack[3].note == "clears 56 V pack; the decision rests on this"
    assert pack[4].note == "generic-6000, range 60 V\n2 March 2026, 09:21"


def test_a_withdrawn_reading_stays_with_its_reason() -> None:
    paper = claim()
    withdrawn = [row for row in rows(paper, "Question")]
    assert withdrawn == [
        ["Pack volts at rest", "5.41 V ± 0.035 V", "typed the point in the wrong place"]
    ]


def test_other_explanations_and_root_causes_and_work() -> None:
    paper = claim()
    assert rows(paper, "Could also have caused it") == [
        ["pack board shut down", "Pack volts at rest", "below 0.01 %"],
        ["fuse blown", "Volts across the main fuse", "0.31 %"],
        ["controller dead", "Volts across the bail switch", "0.72 %"],
    ]
    assert rows(paper, "Why it failed: asked") == [
        ["Is there water or rust in it?", "yes", "rust on both contacts, the seal is split",
         "dried, new seal fitted"],
        ["Is the cable rubbed at the pivot?", "no", "nothing noted: not measured", "-"],
    ]  # fmt: skip
    assert rows(paper, "Step") == [
        ["handle box cover", "put back", "by the clock", "5.5 min"],
        ["fit bail switch", "-", "by the clock", "9 min"],
        ["reading: Pack volts at rest", "read", "not timed", "-"],
        ["reading: Volts across the bail switch, bail held", "read", "not timed", "-"],
        ["reading: Volts across the main fuse", "read", "not timed", "-"],
        ["reading: Rust inside the handle box?", "read", "not timed", "-"],
        ["Together", "", "", "14.5 min"],
    ]
    timed = claim(*STORY, ev.MinutesNoted("test pack_rest", 2.0, measured=True))
    assert rows(timed, "Step")[2] == ["reading: Pack volts at rest", "-", "by the clock", "2 min"]


def test_pairs_of_faults_are_one_line() -> None:
    pairs = [("a; and b", "Pack volts", 0.0), ("a; and c", "Fuse", 0.004), ("a", "Fuse", 0.0)]
    out = [{"suspect": s, "by": by, "chance": chance} for s, by, chance in pairs]
    paper = claim(*with_decision(proof={**mower.DECIDED.proof, "shown_out": out}))
    assert rows(paper, "Could also have caused it") == [
        ["a", "Fuse", "below 0.01 %"],
        ["two at once (2 pairs)", "Pack volts and Fuse", "at most 0.4 %"],
    ]


@pytest.mark.parametrize(
    ("out", "cause"),
    [
        ([], "Bail switch: open (contacts burnt open) or worn (spring worn)."),
        (["spring worn"], "Bail switch: open (contacts burnt open)."),
        (["spring worn", "contacts burnt open"], "Bail switch. Failure mode: not recorded."),
    ],
)
def test_the_failure_mode_is_what_no_reading_showed_out(out: list[str], cause: str) -> None:
    worn = replace(MACHINE.faults[0], id="switch_worn", words="spring worn", mode="worn")
    machine = replace(MACHINE, faults=(*MACHINE.faults, worn))
    proof = {"shown_out": [{"suspect": one, "by": "Fuse", "chance": 0.001} for one in out]}
    paper = claim_document(told(*with_decision(proof=proof)), machine, SHOP, NOW)
    assert fact(paper, "Cause").startswith(cause)


def test_a_cause_that_was_not_asked_is_said() -> None:
    story = [e for e in STORY if not isinstance(e, ev.CauseAnswered)]
    paper = claim(*story)
    assert "Why it failed: not asked." in fact(paper, "Cause")
    assert [row[1] for row in rows(paper, "Why it failed: asked")] == ["not answered"] * 2


def test_reckoned_minutes_are_called_estimated() -> None:
    story = [e for e in STORY if not isinstance(e, ev.MinutesNoted)]
    assert rows(claim(*story), "Step")[0] == [
        "handle box cover", "put back", "estimated", "4 min",
    ]  # fmt: skip


def test_release_checks_passed_failed_blank() -> None:
    paper = claim(*STORY, ev.ReleaseChecked("guards", "Guards and deflector", "fail", "bent"))
    checks = rows(paper, "Check")
    left_out = [row for row in checks if row[1] == "left out"]
    assert [row for row in checks if row not in left_out] == [
        ["Blade stands still within 3.0 s of letting go", "passed", ""],
        ["Guards and deflector", "FAILED", "bent"],
        ["Bail springs back by itself", "blank", "-"],
    ]
    assert len(left_out) == 2  # the controls and the joint were not proven before the cover closed
    assert all("not done before handle box cover went back" in row[2] for row in left_out)
    assert "Not released: a check has failed or is blank." in words(paper)
    assert "Held, not handed back: Guards and deflector failed." in page_one(paper)
    assert "FAILED, 2 left out in the rebuild, 1 not done yet" in fact(paper, "Release checks")


def test_repaired_says_replaced() -> None:
    paper = claim(*STORY, ev.JobClosed("repaired", "runs, stops in 1.9 s"))
    said = fact(paper, "Correction")
    assert said.startswith("Replaced: bail switch, part number TO-4417-02.")
    assert said.endswith("Runs, stops in 1.9 s.")
    assert fact(paper, "Closed") == "2 March 2026: repaired"


def test_an_unproven_decision_is_said_plainly_at_the_top() -> None:
    missing = "the controller is not shown out"
    proof = {**mower.DECIDED.proof, "missing": missing}
    sentence = f"Decided without proof: {missing}."
    paper = claim(*with_decision(proven=False, sentence=sentence, proof=proof))
    box = paper.blocks[0]
    assert isinstance(box, Box) and box.style == "warning"
    assert "\n".join(texts(box.blocks)) == (
        "Not proven: bail switch is the shop's own judgement, and the readings do not show it to "
        "be the only explanation. The controller is not shown out."
    )
    said = page_one(paper)
    assert "Evidence, no proof" in said
    assert "This does not prove the bail switch" in said
    assert "no other than" not in said


def test_without_a_decision_it_is_a_draft() -> None:
    paper = claim(*[e for e in STORY if e is not mower.DECIDED])
    assert "No part has been decided on this job: this is a draft, not a claim." in page_one(paper)
    assert fact(paper, "Cause") == "not decided"


def test_a_decision_on_a_reading_since_withdrawn_says_so_on_page_one() -> None:
    paper = claim(*STORY, ev.ReadingWithdrawn("r3", "leads were in the amps jack"))
    said = page_one(paper)
    assert "Changed since, or not proven" in said
    assert "which was withdrawn" in said
    assert "54.08 V ± 0.35 V, measured" not in said


def test_nothing_is_worked_out_again() -> None:
    """Other limits, weights and expected readings in a later machine file change no word."""
    later = replace(
        MACHINE,
        tests=tuple(replace(t, limits=Limits(1.0, 2.0, "another book")) for t in MACHINE.tests),
        faults=tuple(replace(f, weight=99.0) for f in MACHINE.faults),
        digest="e" * 64,
    )
    assert claim_document(mower.JOB, later, SHOP, NOW, mower.GIVEN) == claim()


def test_a_part_taken_along_is_on_the_claim_with_its_price() -> None:
    also = [{"part": "fuse", "words": "main fuse", "number": "TO-1030"}]
    prices = {**PRICED.prices, "fuse": (Decimal("4.20"), "list of Tolmin")}
    paper = claim(
        *with_decision(proof={**mower.DECIDED.proof, "also": also}),
        given=replace(PRICED, prices=prices),
    )
    assert "and main fuse, which it took along, part number TO-1030" in fact(paper, "Correction")
    assert fact(paper, "It took along") == "1 x main fuse, TO-1030"
    # By hand: 22.96 + 18.40 + 4.20 = 45.56.
    assert [row[2] for row in rows(paper, "For")] == [
        "22.96 USD", "18.40 USD", "4.20 USD", "45.56 USD",
    ]  # fmt: skip


def test_a_failed_part_is_tagged_and_kept_for_the_shops_days() -> None:
    paper = claim()
    assert fact(paper, "Tag on it") == "26-1042 · bail switch · TO-4417-02 · serial TM46-0093317"
    # 60 days after 4 March 2026: 27 left of March, 30 of April, 3 of May.
    assert fact(paper, "Kept").startswith("tagged and held at least until 3 May 2026")
    longer = claim(shop=replace(SHOP, keep_days=None))
    assert fact(longer, "Kept") == "tagged and held until the programme releases it"


def test_a_failed_pack_is_never_kept_indoors() -> None:
    """49 CFR 173.185(f), damaged cells; local fire rules first."""
    paper = claim(*with_decision(part="pack", words="56 V pack", number="TO-5601-B"))
    said = page_one(paper)
    assert "tagged and held" not in said
    for needed in ("outdoors", "non-combustible", "ask the programme", "173.185(f)", "Local fire"):
        assert needed in said


@pytest.mark.parametrize(
    ("words", "contents", "pack"),
    [
        ("56 V pack", (), True),
        ("battery", (), True),
        ("pack terminal block", (), False),
        ("battery lead", (), False),
        ("power unit", ("15 lithium cells",), True),
        ("bail switch", ("switch",), False),
    ],
)
def test_what_counts_as_a_pack(words: str, contents: tuple[str, ...], pack: bool) -> None:
    part = ServicePart("x", words, contents, (), 1.0, 1.0)
    assert is_pack(part, words) is pack


def test_pictures_with_captions_and_what_they_show() -> None:
    paper = claim()
    (pictures,) = [block for block in paper.blocks if isinstance(block, Pictures)]
    assert [one.digest for one in pictures.pictures] == [
        "plate-digest", "meter-digest", "damage-digest", "lost-digest",
    ]  # fmt: skip
    assert pictures.pictures[0].caption == "1. Model and serial plate (plate), 2 March 2026, 09:09."
    assert fact(paper, "Pictures") == "4 (plate, damage, meter)"


@pytest.mark.parametrize("upto", range(1, len(STORY) + 1))
def test_every_beginning_of_a_job_gives_a_paper(upto: int) -> None:
    paper = claim(*STORY[:upto])
    assert plain_data(paper)["title"] == "Warranty claim"


def test_a_record_that_starts_in_the_middle_gives_a_paper() -> None:
    job: Job = told(*STORY[1:])
    assert fact(claim_document(job, MACHINE, SHOP, NOW), "Serial") == "not given"


@pytest.mark.parametrize(
    "shown", [{}, {"reads": 3, "limits": None, "clears": "pack", "slip": ""}, {"parts": []}]
)
def test_a_record_of_another_shape_gives_a_paper(shown: dict[str, object]) -> None:
    odd = ev.ReadingTaken("z", "t", "Odd?", "12 zz", {"kind": "value", "low": "x"}, "nowhere")
    proof = {"readings": ["none", 5], "parts": 3, "also": [1, {}], "shown_out": "x", "price": {}}
    job = told(*with_decision(proof=proof), odd, ev.ReadingJudged("z", "odd", "", shown))
    said = words(claim_document(job, MACHINE, SHOP, NOW))
    assert "12 zz" in said and "Odd?" in said


def test_what_is_asked_stands_in_short_without_a_programme_too() -> None:
    """The sum in short is the one of the table: 14.5 min at 95.00 an hour, and 18.40 (mower.py)."""
    told_short = page_one(claim(given=PRICED))
    asks = "We ask 41.36 USD before tax: bail switch TO-4417-02, proven by the readings below."
    assert asks in told_short
    called = page_one(claim(*with_decision(proven=False)))
    assert called.index("not proven, see below") > called.index("Read this first")
