"""Cover, claim and account of a job, from its own record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from knowngood.job.apart import MinutesMended
from knowngood.job.counter import PaymentNoted
from knowngood.job.events import JobClosed, MinutesNoted, PartDecided, PictureAdded
from knowngood.job.paperwork import ClaimAnswered, CodesChosen, CoverNoted
from knowngood.places import account, decision, paperwork
from knowngood.places.bench import note, open_step
from knowngood.places.claim_paper import given_of
from knowngood.places.claims import all_claims, refusals
from knowngood.places.cover_asked import note_asked
from knowngood.places.gather import View, load_job
from knowngood.places.papers_due import papers_due
from knowngood.places.parts import take_list, try_list
from knowngood.places.receiving import take_back
from knowngood.places.record import Record, Refused
from knowngood.places.stockroom import Want, place_order
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.shop.test_cover import FILE
from tests.shop.test_pricelist import LIST

TODAY = date(2026, 3, 1)
NOTED = CoverNoted(
    "household", purchased="2024-04-19", failed="2026-02-20", proof=("receipt with a date",),
    answers={"water": "no", "opened": "no"},
)  # fmt: skip


def usd(text: str) -> Money:
    return Money(Decimal(text), "USD")


PRICES = "number;words;price\nBW-210;Start box;42.00\n"


def covered(record: Record, dead: View, priced: bool = True) -> str:
    if priced:
        trial = try_list(record, "Brackwater", "USD", PRICES.encode(), "list.csv", None)
        take_list(record, trial, PRICES, at(0))
    paperwork.choose_programme(record, dead.job.id, FILE, "brackwater.yaml", at(1))
    paperwork.note_cover(record, dead.job.id, NOTED, at(2))
    return dead.job.id


def test_cover_is_told_before_anything_is_taken_apart(record: Record, dead: View) -> None:
    job = load_job(record, dead.job.id)
    assert paperwork.cover_of(record, job, TODAY) is None
    paperwork.choose_programme(record, dead.job.id, FILE, "brackwater.yaml", at(1))
    unknown = paperwork.cover_of(record, load_job(record, dead.job.id), TODAY)
    assert unknown is not None
    assert unknown.answer == "can't say"
    assert "what it is used for: household, commercial or rental" in unknown.missing
    paperwork.note_cover(record, dead.job.id, NOTED, at(2))
    known = paperwork.cover_of(record, load_job(record, dead.job.id), TODAY)
    assert known is not None
    assert (known.answer, known.ends) == ("covered", date(2027, 4, 19))
    paperwork.note_cover(record, dead.job.id, CoverNoted(answers={"water": "yes"}), at(3))
    wet = paperwork.cover_of(record, load_job(record, dead.job.id), TODAY)
    assert wet is not None
    assert (wet.answer, wet.reasons) == ("not covered", ("it has stood in water",))


def test_the_programme_stays_as_it_was_chosen(record: Record, dead: View) -> None:
    covered(record, dead)
    changed = FILE.replace("household, months: 36", "household, months: 6")
    paperwork.read_programme(changed, "brackwater.yaml")  # the shop's file has changed since
    cover = paperwork.cover_of(record, load_job(record, dead.job.id), TODAY)
    assert cover is not None
    assert cover.answer == "covered"


def test_a_claim_writes_itself_and_says_what_it_lacks(record: Record, dead: View) -> None:
    job = covered(record, dead)
    with pytest.raises(Refused, match="no part is decided on yet"):
        paperwork.send_claim(record, job, at(3))
    open_step(record, job, "handle", at(4))
    proven(record, dead)
    decision.decide(record, job, at(12))
    page = paperwork.claim_page(record, job, TODAY)
    assert page.cover.answer == "covered"
    assert page.worth is not None
    # the start box at 42.00 with 15 %; minutes of tests are diagnosis, others repair, 60 an hour
    assert page.worth.parts == usd("48.30")
    spent = load_job(record, job).minutes_by_step()
    assert spent == {"handle": 2.0, "test box_ohms": 6.0}
    assert (page.worth.labour, page.worth.diagnosis) == (usd("2.00"), usd("6.00"))
    missing = [lack.id for lack in page.lacks]
    assert missing == ["cause", "plate_picture", "meter_picture"]
    assert {lack.at_risk for lack in page.lacks} == {page.worth.total}
    decision.answer_cause(record, job, "water", "no", at(13), "dry inside")
    record.append(job, [PictureAdded("a" * 64, "", "plate"), PictureAdded("b" * 64, "", "meter")],
                  at(14))  # fmt: skip
    assert paperwork.claim_page(record, job, TODAY).lacks == ()


def test_from_claim_to_money(record: Record, dead: View) -> None:
    job = covered(record, dead)
    proven(record, dead)
    decision.decide(record, job, at(12))
    with pytest.raises(Refused, match="no claim was sent yet"):
        paperwork.answer_claim(record, job, "accepted", "", "", at(13))
    sent = paperwork.send_claim(record, job, at(14), "CL-7")
    asked = sent.course.asked
    assert sent.course.words == "sent today, no answer yet"
    assert asked == sent.course.owed
    with pytest.raises(Refused, match=r"went out on 2026-03-01 and has no answer yet.*\(undo\)"):
        paperwork.send_claim(record, job, at(15))
    assert len(load_job(record, job).paperwork.moves) == 1
    with pytest.raises(Refused, match="needs the reason"):
        paperwork.answer_claim(record, job, "denied", "", " ", at(15))
    with pytest.raises(Refused, match="mend the amount"):
        paperwork.answer_claim(record, job, "accepted", "9999", "", at(15))
    denied = paperwork.answer_claim(record, job, "denied", "", "no reading", at(15))
    assert denied.course.words == "denied: no reading"
    again = paperwork.send_claim(record, job, at(16))
    assert again.course.words == "sent again today, no answer yet"
    assert refusals(all_claims(record)) == {"Brackwater outdoor cover": {"no reading": 1}}
    short = paperwork.answer_claim(record, job, "short-paid", "40", "cap", at(17))
    assert short.course.owed == usd("40.00")
    with pytest.raises(Refused, match=r"only 40.00 USD is owed"):
        paperwork.claim_paid(record, job, "40.01", at(18))
    paid = paperwork.claim_paid(record, job, "40", at(18))
    assert paid.course.owed == usd("0.00")
    with pytest.raises(Refused, match=r"30\.00 USD granted, but 40\.00 USD was"):
        paperwork.answer_claim(record, job, "short-paid", "30", "cap", at(18))
    (first, answered, second, _, last) = load_job(record, job).paperwork.moves
    held = "the programme's money of 2026-03-01 stands on this one: take that back first"
    for under in (first, answered, second):  # else the money would stand in no table
        with pytest.raises(Refused, match=held):
            paperwork.withdraw_entry(record, job, under.entry, "typed twice", at(19))
    entry = last.entry
    paperwork.withdraw_entry(record, job, entry, "another job's", at(19))
    assert paperwork.claim_page(record, job, TODAY).course.owed == usd("40.00")
    with pytest.raises(Refused, match="no entry"):
        paperwork.withdraw_entry(record, job, entry, "twice", at(20))


def test_too_late_is_said_and_blocks_nothing(record: Record, dead: View) -> None:
    job = covered(record, dead)
    proven(record, dead)
    decision.decide(record, job, at(12))
    late = replace(at(14), now=at(14, day=1).now.replace(month=4))
    (due,) = papers_due(record, date(2026, 4, 1))  # not forgotten once its day has passed
    assert due.late and due.line(date(2026, 4, 1)) == (
        "26-0001: no claim was sent in time: ask the programme all the same, or tell the customer; "
        "its last day was 10 days ago"
    )
    page = paperwork.send_claim(record, job, late)
    assert not any(one.late for one in papers_due(record, date(2026, 4, 1)))
    assert page.cover.answer == "not covered"
    assert "had to be sent by 2026-03-22, and went out on 2026-04-01" in page.cover.sentence
    assert page.course.words == "sent today, no answer yet"


def test_an_unknown_labour_code(record: Record, dead: View) -> None:
    job = covered(record, dead)
    proven(record, dead)
    decision.decide(record, job, at(12))
    record.append(job, [CodesChosen(labour="L99")], at(13))
    with pytest.raises(Refused, match="has no labour code 'L99'; it has: L20"):
        paperwork.claim_page(record, job, TODAY)


@pytest.mark.parametrize(
    ("noted", "said"),
    [
        (CoverNoted(use="hire"), "use is 'hire'; it may be household, commercial, rental"),
        (CoverNoted(purchased="19.4.2024"), "write the day like 2026-05-04"),
        (CoverNoted(answers={"watr": "no"}), "no question 'watr'; there are: opened, water"),
        (CoverNoted(answers={"water": "perhaps"}), "it may be yes or no"),
    ],
)
def test_bad_input_changes_nothing(
    record: Record, dead: View, noted: CoverNoted, said: str
) -> None:
    covered(record, dead)
    before = load_job(record, dead.job.id)
    with pytest.raises(Refused, match=said):
        paperwork.note_cover(record, dead.job.id, noted, at(5))
    assert load_job(record, dead.job.id) == before


def test_a_broken_programme_file_is_refused_whole(record: Record, dead: View) -> None:
    with pytest.raises(Refused, match=r"b\.yaml, line 22: claim_days is 'soon'"):
        paperwork.choose_programme(
            record, dead.job.id, FILE.replace("claim_days: 30", "claim_days: soon"), "b.yaml", at(1)
        )
    assert load_job(record, dead.job.id).paperwork.programme is None


def test_an_estimate_exceeded(record: Record, dead: View) -> None:
    job = dead.job.id
    box = Line("part", "box", usd("42.00"), tax="sales")
    lines = [Line("fee", "looked at", usd("45.00")), box]
    taxes = Taxes({"sales": Decimal("8.25")})
    with pytest.raises(Refused, match="no estimate to agree to"):
        account.agree(record, job, "Mr. Vale", "by phone", "", at(1))
    made = account.make_estimate(record, job, lines, taxes, "USD", at(1))
    assert made.bill.taxed.gross == usd("90.47")
    assert not made.gate.open
    agreed = account.agree(record, job, "Mr. Vale", "by phone", "100", at(2))
    assert agreed.gate.open
    more = [*lines, Line("part", "harness", usd("35.00"), tax="sales")]
    over = account.make_estimate(record, job, more, taxes, "USD", at(3))
    assert not over.gate.open
    assert "28.35 USD above what Mr. Vale agreed to" in over.gate.sentence
    assert account.agree(record, job, "Mr. Vale", "in the shop", "", at(4)).gate.open
    paid = account.take_money(record, job, "100.00", "card", at(5))
    assert paid.bill.left == usd("28.35")
    with pytest.raises(Refused, match=r"only 28.35 USD is owed"):
        account.take_money(record, job, "28.36", "cash", at(6))
    assert account.take_money(record, job, "28.35", "cash", at(6)).bill.left == usd("0.00")
    lower = account.make_estimate(record, job, lines, taxes, "USD", at(7))
    assert lower.bill.left == usd("-37.88")
    back = account.take_money(record, job, "-37.88", "cash", at(8))
    assert back.bill.left == usd("0.00")
    with pytest.raises(Refused, match=r"only 90.47 USD was paid"):
        account.take_money(record, job, "-90.48", "cash", at(9))


def test_a_kept_part_is_told_by_its_note(record: Record, dead: View) -> None:
    assert "part_kept" not in paperwork.having(load_job(record, dead.job.id))
    note(record, dead.job.id, "Tagged: box of job 5120, shelf 2", at(1))
    job = load_job(record, dead.job.id)
    assert "part_kept" in paperwork.having(job)


def test_a_repair_without_any_payment_noted_waits(record: Record, dead: View) -> None:
    assert not papers_due(record, TODAY)
    record.append(dead.job.id, [JobClosed("repaired", "")], at(4))
    assert [d.words for d in papers_due(record, TODAY)] == [
        "repaired, no payment noted: note it at pickup"
    ]
    record.append(dead.job.id, [PaymentNoted("paid", "120 USD cash")], at(5))
    assert not papers_due(record, TODAY)


def test_a_missing_number_is_offered_from_order_and_price_list(record: Record, dead: View) -> None:
    job = covered(record, dead, priced=False)
    proven(record, dead)
    decision.decide(record, job, at(10))
    known = load_job(record, job).decision
    assert known is not None
    bare = PartDecided("start_box", "Start box", "", True, "bad", known.proof)
    record.append(job, [bare], at(11))

    def fix() -> str:
        lacks = paperwork.claim_page(record, job, TODAY).lacks
        return next(lack.fix for lack in lacks if lack.id == "part_number")

    assert fix() == "add it to the machine's file"
    text = "number;words;price\nLM-100;Startbox;46.00\nLM-200;Starter;9.00\n"
    trial = try_list(record, "Brackwater", "USD", text.encode(), "list.csv", None)
    take_list(record, trial, text, at(12))
    assert fix().startswith("LM-100 'Startbox' in the list of Brackwater: ")
    wants = [Want(number, 1, Decimal(46), (job,)) for number in ("LM-100", "LM-300")]
    place_order(record, "PO-1", "Brackwater", wants, at(13), "USD")
    assert fix().startswith("LM-100 on order PO-1 of this job; LM-300 on order PO-1 of this job; ")
    take_back(record, "PO-1", "typed twice", at(14))
    place_order(record, "PO-2", "Brackwater", wants[:1], at(15), "USD")  # the only line: it is it
    page = paperwork.claim_page(record, job, TODAY)
    assert "part_number" not in {lack.id for lack in page.lacks}
    decided = load_job(record, job).decision
    assert decided is not None and decided.number == "LM-100"
    take_back(record, "PO-2", "typed for another", at(16))
    assert fix().startswith("LM-100 'Startbox' in the list of Brackwater: ")


def test_a_recall_stands_on_the_claim(record: Record, dead: View) -> None:
    job = covered(record, dead)
    assert given_of(record, load_job(record, job), TODAY).notices == ""
    opened = load_job(record, job).opened
    assert opened is not None
    recalled = FILE.replace("models: [BM-561]", "models: []").replace(
        "[2304A00001, 2304A02000]", f"[{opened.serial}, {opened.serial}]"
    )
    paperwork.choose_programme(record, job, recalled, "brackwater.yaml", at(4))
    given = given_of(record, load_job(record, job), TODAY)
    assert given.notices == "N-7: bail cable frays"


def test_a_proof_there_is_not_and_a_day_to_come_are_refused(record: Record, dead: View) -> None:
    job = covered(record, dead)
    with pytest.raises(Refused, match="no proof 'recipt'; there are: receipt with a date"):
        paperwork.note_cover(record, job, CoverNoted(proof=("recipt",)), at(3))
    with pytest.raises(Refused, match="no proof 'receipt'; there are"):  # the bench's own line
        note_asked(record, job, CoverNoted(proof=("receipt",)), at(3))
    for noted in (CoverNoted(failed="2027-11-20"), CoverNoted(purchased="2026-03-02")):
        with pytest.raises(Refused, match="is still to come, today is 2026-03-01"):
            paperwork.note_cover(record, job, noted, at(3))
    cover = load_job(record, job).paperwork.cover
    assert (cover.proof, cover.failed) == (("receipt with a date",), "2026-02-20")


def rules_and_notes(record: Record, job: str) -> tuple[str, str]:
    page = paperwork.claim_page(record, job, TODAY)
    assert page.worth is not None
    return page.worth.rules[2], "; ".join(page.worth.notes)


def test_a_part_is_claimed_at_its_order_then_at_its_list(record: Record, dead: View) -> None:
    job = covered(record, dead, priced=False)
    proven(record, dead)
    decision.decide(record, job, at(12))
    rule, note = rules_and_notes(record, job)
    assert rule == "price not given"
    assert note == (
        "the price of the start box is not given (the machine file's example is 42.00, without a "
        "currency): take the price list, or write the order down"
    )
    page = paperwork.claim_page(record, job, TODAY)
    assert page.worth is not None and page.worth.parts == usd("0")
    # by hand: the example with 15 % says what is at stake, and is no money of the claim
    assert page.worth.at_stake == page.worth.total + usd("48.30")
    assert page.worth.words[2:] == ("price not given", "7.00 USD and start box (price not given)")
    assert page.lacks[0].words == "the price of the start box"
    before = len(record.log.events(job))
    with pytest.raises(Refused, match="the price of the start box is not given: take the price"):
        paperwork.send_claim(record, job, at(12))
    assert len(record.log.events(job)) == before
    trial = try_list(record, "Tolmin", "EUR", LIST.encode(), "l.csv", None)
    take_list(record, trial, LIST, at(13))
    rule, note = rules_and_notes(record, job)
    assert rule == "price not given"
    assert "priced at 44.00 EUR (list of Tolmin), the programme pays in USD" in note
    trial = try_list(record, "Brackwater", "USD", LIST.encode(), "l.csv", None)
    take_list(record, trial, LIST, at(14))
    assert rules_and_notes(record, job) == ("44.00 + 15 % handling (list of Brackwater)", "")
    wants = [Want("BW-212", 1, Decimal("1084.50"), (job,))]
    place_order(record, "PO-1", "Brackwater", wants, at(15), "USD")
    assert rules_and_notes(record, job)[0] == "1084.50 + 15 % handling (order PO-1)"
    take_back(record, "PO-1", "typed for another", at(16))
    assert rules_and_notes(record, job)[0].startswith("44.00")


def test_minutes_by_the_clock_are_told_from_reckoned_ones(record: Record, dead: View) -> None:
    job = covered(record, dead)
    proven(record, dead)
    decision.decide(record, job, at(12))

    def labour() -> str:
        page = paperwork.claim_page(record, job, TODAY)
        assert page.worth is not None
        return page.worth.rules[0]

    record.append(job, [MinutesNoted("fit start box", 12)], at(13))
    # 3.4 min by the clock since the last reading, as the steps of the proof were worked
    assert labour().startswith("15.4 min of 15.4 (3.4 measured, 12 estimated)")
    record.append(job, [MinutesNoted("handle", 5, measured=True)], at(14))
    assert labour().startswith("20.4 min of 20.4 (8.4 measured, 12 estimated)")
    record.append(job, [MinutesMended("fit start box", 11)], at(15))  # by a person, not a clock
    assert labour().startswith("19.4 min of 19.4 (8.4 measured, 11 estimated)")


def test_the_same_answer_twice_is_one(record: Record, dead: View) -> None:
    job = covered(record, dead)
    proven(record, dead)
    decision.decide(record, job, at(12))
    paperwork.send_claim(record, job, at(13), "CL-1")
    paperwork.answer_claim(record, job, "short-paid", "40", "too long", at(14))
    with pytest.raises(Refused, match="noted already"):
        paperwork.answer_claim(record, job, "short-paid", "40.00", " too long", at(15))
    paperwork.send_claim(record, job, at(16), "CL-2")
    paperwork.answer_claim(record, job, "short-paid", "40", "too long", at(17))
    answers = [m for m in load_job(record, job).paperwork.moves if isinstance(m, ClaimAnswered)]
    assert len(answers) == 2
