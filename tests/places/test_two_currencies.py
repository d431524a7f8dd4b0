"""Money in two currencies: refused before anything is stored; of an old record, said on its job."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from pypdf import PdfReader

from knowngood.documents.pdf import write_claim
from knowngood.job.events import DecisionWithdrawn, JobClosed, MinutesNoted
from knowngood.job.paperwork import ClaimSent, CustomerAgreed, EstimateMade, MoneyTaken
from knowngood.job.shelf import PartOrdered
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places import account, decision, paperwork, shelf, stockroom
from knowngood.places.claim_paper import given_of, prices_of_parts
from knowngood.places.claims import all_claims
from knowngood.places.figures import shop_figures
from knowngood.places.gather import View, load_job
from knowngood.places.papers_due import papers_due
from knowngood.places.parts import take_list, try_list
from knowngood.places.plan_cost import plan_cost
from knowngood.places.premises import letterhead, note_shop
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import BenchRate, rate_of
from knowngood.places.stockroom import Want
from knowngood.places.wanted import wanted
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.places.test_paperwork import covered
from tests.shop.test_cover import FILE
from tests.shop.test_pricelist import LIST

TODAY = date(2026, 3, 1)


def money(text: str, currency: str) -> Money:
    return Money(Decimal(text), currency)


def estimated(
    record: Record, job: str, currency: str, price: str = "130", deposit: str = "0", when: float = 1
) -> account.Account:
    lines = [
        Line("fee", "look", money("10", currency)), Line("part", "box", money(price, currency))
    ]  # fmt: skip
    return account.make_estimate(
        record, job, lines, Taxes({}), currency, at(when), deposit_percent=Decimal(deposit)
    )


def stored(record: Record, job: str) -> int:
    return len(record.log.events(job))


def test_nothing_is_no_payment_and_leaves_the_currency_free(record: Record, dead: View) -> None:
    job = dead.job.id
    estimated(record, job, "USD")
    before = stored(record, job)
    with pytest.raises(Refused, match=r"0 USD came in\?|0\.00 USD came in\?"):
        account.take_money(record, job, "0", "cash", at(2))
    assert stored(record, job) == before
    assert estimated(record, job, "EUR", when=3).bill.taxed.gross == money("140", "EUR")


def test_an_estimate_in_another_currency_than_was_paid_stores_nothing(
    record: Record, dead: View
) -> None:
    job = dead.job.id
    estimated(record, job, "EUR")
    account.take_money(record, job, "10", "cash", at(2))
    before = stored(record, job)
    for _ in range(2):
        with pytest.raises(Refused, match=r"10\.00 EUR came in .* take the payment back \(undo\)"):
            estimated(record, job, "USD", when=3)
    assert stored(record, job) == before
    made = load_job(record, job).paperwork.estimate
    assert made is not None and made.currency == "EUR"
    entry = load_job(record, job).paperwork.taken[0].entry  # the way out that it names
    paperwork.withdraw_entry(record, job, entry, "in dollars", at(4))
    assert estimated(record, job, "USD", when=5).bill.taxed.gross.currency == "USD"


def mixed(record: Record, job: str) -> None:
    """As an old record may hold it: paid in euros, agreed in euros, an estimate in dollars."""
    estimated(record, job, "EUR")
    line = {"kind": "part", "words": "box", "price": "99", "count": "1", "tax": ""}
    taxes = {"percent": {}, "on": "total", "step": "0.01", "line_step": "0.01", "mode": "half up",
             "included": False}  # fmt: skip
    record.append(job, [
        MoneyTaken("m1", "2026-03-01", "10", "EUR"),
        CustomerAgreed("Mr. Vale", "phone", "200", "EUR"),
        EstimateMade({"lines": [line], "taxes": taxes}, "99", "USD"),
    ], at(5))  # fmt: skip


def test_an_old_contradiction_is_said_on_its_job_and_stops_no_list(
    record: Record, dead: View
) -> None:
    job = dead.job.id
    mixed(record, job)
    it = account.account_of(record, load_job(record, job))
    assert it is not None and not it.gate.open
    assert it.trouble.startswith("10.00 EUR came in from the customer and the estimate is in USD")
    assert it.gate.sentence == it.trouble == account.stopped(record, load_job(record, job))
    assert it.bill.left == money("99.00", "USD")  # no euro is taken for a dollar
    (due,) = papers_due(record, TODAY)
    assert (due.words, due.late) == (it.trouble, True)
    before = stored(record, job)
    for refused in (
        lambda: account.agree(record, job, "Mr. Vale", "phone", "", at(6)),
        lambda: account.take_money(record, job, "5", "cash", at(6)),
        lambda: estimated(record, job, "USD", when=6),
    ):
        with pytest.raises(Refused, match="two currencies"):
            refused()
    assert stored(record, job) == before
    assert estimated(record, job, "EUR", when=7).trouble == ""  # the way out


def test_a_word_on_euros_is_none_on_dollars(record: Record, dead: View) -> None:
    job = dead.job.id
    estimated(record, job, "EUR")
    account.agree(record, job, "Mr. Vale", "by phone", "200", at(2))
    it = estimated(record, job, "USD", when=3)
    assert not it.gate.open
    assert "nobody has agreed yet" in it.gate.sentence


def test_minutes_that_cannot_be_watched_are_said_to_be(record: Record, dead: View) -> None:
    """The job's bench rate is in USD: against an estimate in EUR nothing can be compared."""
    job = dead.job.id
    assert dead.job.opened is not None and dead.job.opened.rates["currency"] == "USD"
    note_shop(record, ShopNoted(bench_rate=90, currency="USD"), at(0))
    estimated(record, job, "EUR")
    it = account.agree(record, job, "Mr. Vale", "by phone", "", at(2))
    record.append(job, [MinutesNoted("start_box", 600, measured=True)], at(3))
    it = account.account_of(record, load_job(record, job)) or it
    assert it.gate.open and it.spent is None
    assert "the bench rate of this job is in USD, the estimate in EUR" in it.gate.sentence
    estimated(record, job, "USD", when=4)
    it = account.agree(record, job, "Mr. Vale", "by phone", "", at(5))
    assert not it.gate.open and "the work so far comes to" in it.gate.sentence


def test_a_claim_of_another_currency(record: Record, dead: View) -> None:
    job = covered(record, dead)
    proven(record, dead)
    decision.decide(record, job, at(12))
    paperwork.send_claim(record, job, at(13))
    before = stored(record, job)
    with pytest.raises(Refused, match=r"a claim of this job is in USD, .* pays in EUR"):
        paperwork.choose_programme(record, job, FILE.replace("USD", "EUR"), "b.yaml", at(14))
    assert stored(record, job) == before
    record.append(job, [ClaimSent("old", "2026-02-27", "40.00", "EUR")], at(15))  # an old record
    with pytest.raises(Refused, match=r"two currencies.* take the claim back \(undo\)"):
        paperwork.claim_page(record, job, TODAY)
    assert any("its claim cannot be worked out" in due.words for due in papers_due(record, TODAY))
    (line,) = all_claims(record)
    assert (line.currency, line.asked) == ("EUR", Decimal("40.00"))


def test_a_part_is_not_ordered_before_its_deposit_is_here(record: Record, dead: View) -> None:
    job = dead.job.id
    proven(record, dead)
    decision.decide(record, job, at(10))
    it = estimated(record, job, "USD", "50", "50", when=11)
    # by hand: half of the part's 50.00; the fee of 10.00 is no part of it
    assert it.bill.deposit == it.deposit_open == money("25.00", "USD")
    account.agree(record, job, "Mr. Vale", "by phone", "", at(12))
    wants = [Want("BW-210", 1, Decimal(42), (job,))]
    account.take_money(record, job, "20", "cash", at(13))
    with pytest.raises(Refused, match=r"deposit of 25\.00 USD is not paid.*take 5\.00 USD first"):
        stockroom.place_order(record, "PO-1", "Brackwater", wants, at(14))
    assert stockroom.room_of(record).orders == {}
    with pytest.raises(Refused, match=r"nothing was ordered: the deposit of 25\.00 USD"):
        shelf.order_part(record, job, "", at(14))
    assert wanted(record, {}, "USD") == ()
    account.take_money(record, job, "5", "cash", at(15))
    assert len(wanted(record, {}, "USD")) == 1
    assert stockroom.place_order(record, "PO-1", "Brackwater", wants, at(16)).open == {"BW210": 1}


def listed(record: Record, maker: str, currency: str) -> None:
    take_list(record, try_list(record, maker, currency, LIST.encode(), "l.csv", None), LIST, at(0))


def test_a_rate_set_after_check_in_is_in_the_currency_of_the_sheet(
    record: Record, dead: View, tmp_path: Path
) -> None:
    """Checked in with the usual 90, for which USD was noted; then the shop sets 60 EUR an hour."""
    job = dead.job.id
    note_shop(record, ShopNoted(bench_rate=60, currency="EUR"), at(1))
    listed(record, "Brackwater", "EUR")
    proven(record, dead)
    decision.decide(record, job, at(10))
    record.append(job, [MinutesNoted("start_box", 31, measured=True)], at(11))
    it = load_job(record, job)
    assert rate_of(record, it) == BenchRate(Decimal("60.0"), True, "EUR")
    assert plan_cost(record, it).currency == "EUR"
    # by hand, BW-210 became BW-212 at 44,00 on the list; 40 min at 60 an hour are 40.00
    assert prices_of_parts(record, it) == {"start_box": (Decimal("44.00"), "list of Brackwater")}
    assert sum(it.minutes_by_step().values()) == 40
    out = tmp_path / "claim.pdf"
    write_claim(it, dead.machine, letterhead(record), {}, out, at(12).now,
                given=given_of(record, it, TODAY))  # fmt: skip
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(out).pages).split())
    assert "60.00 EUR an hour, the bench rate 40.00 EUR" in text
    assert "before tax 84.00 EUR" in text and "USD" not in text
    estimated(record, job, "USD", when=13)
    usd = account.account_of(record, load_job(record, job))
    assert usd is not None and usd.spent is None
    assert "bench rate of this job is in EUR, the estimate in USD" in usd.gate.sentence
    estimated(record, job, "EUR", when=14)
    eur = account.account_of(record, load_job(record, job))
    assert eur is not None and eur.spent == money("170.00", "EUR")  # the part as it was told, 130


def test_a_part_priced_in_another_currency_alone_is_not_known(record: Record, dead: View) -> None:
    job = dead.job.id
    note_shop(record, ShopNoted(bench_rate=60, currency="USD"), at(1))
    listed(record, "Brackwater", "EUR")
    proven(record, dead)
    decision.decide(record, job, at(10))
    plan = plan_cost(record, load_job(record, job))
    assert plan.unpriced and plan.ends[0].parts == Decimal("42.0")  # the example, as said
    assert "the machine file's, no list's in USD" in plan.sentence
    listed(record, "Fenwick & Rowe", "USD")  # another list has it: that of the maker goes first
    assert plan_cost(record, load_job(record, job)).unpriced
    record.append(job, [MinutesNoted("start_box", 31, measured=True)], at(11))
    labour = Line("labour", "find and mend", money("50", "USD"))
    account.make_estimate(record, job, [labour], Taxes({}), "USD", at(12))
    it = account.account_of(record, load_job(record, job))
    assert it is not None and it.spent == money("40.00", "USD")
    assert it.gate.sentence.endswith(
        "the part is not held against what was agreed to: the start box is priced at 44.00 EUR "
        "(list of Brackwater), the estimate is in USD: say its price in USD"
    )
    ordered = PartOrdered("start_box", "Start box", "BW-210")
    record.append(job, [ordered, DecisionWithdrawn("it was another")], at(13))
    decision.close_job(record, job, "returned unrepaired", at(30))
    found = {f.name: f for f in shop_figures(record, date(2026, 3, 1), date(2026, 3, 31))}
    assert found["wrong parts"].value == 42  # the file's example, and said to be one
    assert found["wrong parts"].how.endswith("; 1 at a machine file's example price")


def test_a_list_of_another_maker_prices_the_plan_as_its_number_is_read(
    record: Record, dead: View
) -> None:
    listed(record, "Fenwick & Rowe", "USD")
    proven(record, dead)
    decision.decide(record, dead.job.id, at(10))
    plan = plan_cost(record, load_job(record, dead.job.id))
    assert not plan.unpriced and plan.ends[0].parts == Decimal("44.00")


def test_labour_is_not_counted_by_a_rate_of_another_currency(record: Record, dead: View) -> None:
    job = dead.job.id
    note_shop(record, ShopNoted(bench_rate=60, currency="USD"), at(1))
    labour = Line("labour", "find and mend", money("50", "EUR"))
    account.make_estimate(record, job, [labour], Taxes({}), "EUR", at(2))
    account.agree(record, job, "Mr. Vale", "by phone", "50", at(3))
    record.append(job, [JobClosed("repaired")], at(30))
    found = {f.name: f for f in shop_figures(record, date(2026, 3, 1), date(2026, 3, 31))}
    for name in ("minutes sold", "sold of worked"):
        assert (found[name].value, found[name].of) == (None, 0)
        assert found[name].how.endswith(
            "the shop's rate is not set (knowngood shop), or in another currency"
        )


def test_a_rate_of_another_currency_is_none_on_a_claim(record: Record, dead: View) -> None:
    """A programme without a rate of its own goes by the shop's, where that is in its currency."""
    job = covered(record, dead)
    unrated = FILE.replace("labour: {rate: 60, ", "labour: {")
    assert unrated != FILE
    note_shop(record, ShopNoted(bench_rate=60, currency="EUR"), at(3))
    paperwork.choose_programme(record, job, unrated, "b.yaml", at(4))
    proven(record, dead)
    decision.decide(record, job, at(12))
    page = paperwork.claim_page(record, job, TODAY)
    assert page.worth is not None and page.worth.unrated
    way = "it is in EUR, the programme pays in USD: write a rate an hour into its file"
    assert page.lacks[0].fix.startswith(way)
    with pytest.raises(Refused, match=f"{way} and put the job under it again"):
        paperwork.send_claim(record, job, at(13))
    paperwork.choose_programme(record, job, FILE, "b.yaml", at(14))  # the way out
    paperwork.send_claim(record, job, at(15))
    note_shop(record, ShopNoted(bench_rate=60, currency="USD"), at(16))
    paperwork.choose_programme(record, job, unrated, "b.yaml", at(17))
    page = paperwork.claim_page(record, job, TODAY)
    assert page.worth is not None and page.worth.known
