"""An estimate from the plan, its minutes by walking the tree anew; what stops when it is passed."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from knowngood.job.events import JobClosed, MinutesNoted
from knowngood.job.paperwork import CoverNoted
from knowngood.job.shop_sheet import ShopNoted
from knowngood.machines.machine import Machine
from knowngood.places import account, decision, paperwork, premises, shelf, stockroom
from knowngood.places.bill_paper import bill_paper
from knowngood.places.gather import View, evidence_of, load_job, setup_of
from knowngood.places.life import age_words, life_here
from knowngood.places.plan import plan_tree, tree_json
from knowngood.places.plan_cost import CHECK_MINUTES, HAND_OVER, LOOKS, plan_cost
from knowngood.places.proposal import proposal
from knowngood.places.record import At, Record, Refused
from knowngood.places.stockroom import Want
from knowngood.places.wanted import wanted
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.shop.test_cover import FILE

TODAY = date(2026, 3, 2)


def usd(text: str) -> Money:
    return Money(Decimal(text), "USD")


def test_the_minutes_are_those_of_the_tree_walked_anew(record: Record, dead: View) -> None:
    """An independent walk over the plan as scripts get it, uncut."""
    job = load_job(record, dead.job.id)
    found = plan_cost(record, job)
    setup = setup_of(record, job)
    machine = setup.machine
    tree = plan_tree(setup, evidence_of(machine, job), most=100_000, deadline=None,
                     max_expansions=LOOKS)  # fmt: skip
    after = HAND_OVER + CHECK_MINUTES * len(machine.release)
    minutes, price, chance = walked(machine, tree_json(tree)["policy"], 0.0, frozenset())
    assert chance == pytest.approx(1, abs=1e-3)
    assert sum(e.chance for e in found.ends) == pytest.approx(1, abs=1e-6)
    assert found.likely.minutes == pytest.approx(minutes + after, rel=2e-3)
    assert float(found.likely.parts) == pytest.approx(price, rel=5e-3)
    assert found.likely.bad_minutes > found.likely.minutes
    assert found.likely.bad_total > found.likely.total


def walked(
    machine: Machine, place: dict[str, Any], spent: float, opened: frozenset[str]
) -> tuple[float, float, float]:
    """Chance-weighted minutes and parts, and the chance, of everything below a place."""
    steps = {s.id: s for s in machine.teardown}
    if "do" not in place:
        parts = [p for p in machine.parts if p.id in place.get("stop", [])]
        needs = {n for p in parts for n in p.needs}
        while more := {n for s in needs for n in steps[s].needs} - needs:
            needs |= more
        new = needs - opened
        minutes = spent + sum(p.minutes for p in parts) + sum(steps[s].minutes for s in new)
        minutes += sum(steps[s].back_minutes for s in opened | new)
        chance = place["chance"]
        return minutes * chance, sum(p.price for p in parts) * chance, chance
    do = place["do"]
    spent += do["minutes"] + sum(steps[s].minutes for s in do["opens"])
    spent += sum(steps[s].back_minutes for s in do["closes"])
    now = (opened | set(do["opens"])) - set(do["closes"])
    sums = [walked(machine, then["next"], spent, frozenset(now)) for then in place["then"]]
    return tuple(map(sum, zip(*sums, strict=True)))  # type: ignore[return-value]


def test_the_proposal_is_lines_with_the_shops_taxes(record: Record, dead: View) -> None:
    job = load_job(record, dead.job.id)
    first = proposal(record, job, TODAY)
    assert [line.kind for line in first.lines] == ["labour", "part"]
    assert first.taxes == Taxes({})
    assert "in 9 of 10 such jobs at most" in first.sentence
    taxed = [Line("labour", "x", usd("10")), Line("part", "y", usd("5"), tax="sales")]
    account.make_estimate(
        record, dead.job.id, taxed, Taxes({"sales": Decimal("8.25")}), "USD", at(1)
    )
    again = proposal(record, load_job(record, dead.job.id), TODAY)
    assert [line.tax for line in again.lines] == ["", "sales"]
    assert again.bad_case.amount > first.bad_case.amount  # taxed now


def test_after_the_decision_it_is_that_part(record: Record, dead: View) -> None:
    view = decision.call(record, dead.job.id, "start box", at(2))
    proven(record, view)
    decision.decide(record, dead.job.id, at(10))
    job = load_job(record, dead.job.id)
    found = plan_cost(record, job)
    (end,) = found.ends
    assert [one.part for one in found.to_fit] == ["start_box"]
    assert end.parts == Decimal("42.0")
    assert found.likely.minutes == found.likely.bad_minutes > found.so_far > 0


def test_going_over_stops_orders_until_the_customer_agreed(record: Record, dead: View) -> None:
    job = dead.job.id
    view = decision.call(record, job, "start box", at(2))
    proven(record, view)
    decision.decide(record, job, at(10))
    lines = [Line("labour", "find and mend", usd("30")), Line("part", "start box", usd("42"))]
    account.make_estimate(record, job, lines, Taxes({}), "USD", at(11), bad_case=usd("95"))
    with pytest.raises(Refused, match=r"nothing was ordered: 72\.00 USD and nobody"):
        shelf.order_part(record, job, "", at(12))
    assert wanted(record, {}, "USD") == ()
    with pytest.raises(Refused, match="stopped, nothing was ordered; job"):
        stockroom.place_order(record, "o1", "Brackwater", [Want("BW-210", 1, jobs=(job,))], at(12))
    agreed = account.agree(record, job, "Mr. Vale", "by phone", "", at(13))
    assert agreed.gate.open and agreed.bad_case == usd("95")
    assert load_job(record, job).paperwork.agreed[-1][0].up_to == "95"  # up to the bad case
    assert len(wanted(record, {}, "USD")) == 1
    # the work itself passes it: measured minutes at the shop's rate, none at the usual one
    record.append(job, [MinutesNoted("start_box", 120, measured=True)], at(14))
    so_far = account.account_of(record, load_job(record, job))
    assert so_far is not None and so_far.gate.open and so_far.spent is None
    assert "the shop's rate is not set, set it on the phone under Counter" in so_far.gate.sentence
    premises.note_shop(record, ShopNoted(bench_rate=20, currency="USD"), at(14))
    under = account.account_of(record, load_job(record, job))
    assert under is not None and under.gate.open and under.spent is not None
    # by hand: two hours and what was noted before at 20 an hour, and the 42 of the estimate; the
    # usual 90 an hour would stop it
    minutes = Decimal(str(sum(load_job(record, job).minutes_by_step().values())))
    assert under.spent == Money(minutes / 3 + 42, "USD").rounded()
    premises.note_shop(record, ShopNoted(bench_rate=90, currency="USD"), at(14))
    over = account.account_of(record, load_job(record, job))
    assert over is not None and not over.gate.open
    assert "the work so far comes to" in over.gate.sentence
    with pytest.raises(Refused, match="ask again"):
        shelf.order_part(record, job, "", at(15))
    account.agree(record, job, "Mr. Vale", "by phone", "300", at(16))
    shelf.order_part(record, job, "", at(17))


def test_what_cannot_be_estimated_is_refused(record: Record, dead: View) -> None:
    lines = [Line("labour", "x", usd("30"))]
    with pytest.raises(Refused, match="below the estimate"):
        account.make_estimate(record, dead.job.id, lines, Taxes({}), "USD", at(1), usd("20"))
    with pytest.raises(Refused, match="0 to 100"):
        account.make_estimate(
            record, dead.job.id, lines, Taxes({}), "USD", at(1), None, Decimal(101)
        )
    with pytest.raises(Refused, match="no estimate on this job yet"):
        bill_paper(record, load_job(record, dead.job.id), at(2).now)


def test_the_shops_fee_is_in_the_proposal_and_credited(record: Record, dead: View) -> None:
    job = load_job(record, dead.job.id)
    bare = proposal(record, job, TODAY)
    premises.note_shop(record, ShopNoted(currency="USD", fee_amount=40.0), at(1))
    asked = proposal(record, job, TODAY)
    assert [(x.kind, x.amount) for x in asked.lines[2:]] == [("fee", usd("40.00"))]
    assert asked.bad_case - bare.bad_case == usd("40.00")
    premises.note_shop(
        record, ShopNoted(currency="USD", fee_amount=40.0, fee_credited=True), at(2)
    )
    credited = proposal(record, job, TODAY)
    assert [x.kind for x in credited.lines[2:]] == ["fee", "credit"]
    assert credited.bad_case == bare.bad_case and "fee is credited" in credited.sentence
    premises.note_shop(record, ShopNoted(currency="EUR", fee_amount=40.0), at(3))
    assert proposal(record, job, TODAY).lines == bare.lines  # of another currency
    with pytest.raises(Refused, match="diagnosis fee of -1"):
        premises.note_shop(record, ShopNoted(fee_amount=-1.0), at(4))


@pytest.mark.parametrize(("minutes", "kinds"), [("20", []), ("0", ["fee"])])
def test_no_fee_where_the_programme_pays_diagnosis(
    record: Record, dead: View, minutes: str, kinds: list[str]
) -> None:
    job = dead.job.id
    premises.note_shop(record, ShopNoted(currency="USD", fee_amount=40.0), at(1))
    text = re.sub(r"diagnosis_minutes: *\d+", f"diagnosis_minutes: {minutes}", FILE)
    assert f"diagnosis_minutes: {minutes}" in text
    paperwork.choose_programme(record, job, text, "brackwater.yaml", at(2))
    answers = {"water": "no", "opened": "no"}
    proof = ("receipt with a date",)
    kept = CoverNoted("household", "2025-06-01", "", "", "2026-02-27", "", proof, answers)
    paperwork.note_cover(record, job, kept, at(3))
    found = proposal(record, load_job(record, job), TODAY)
    assert [x.kind for x in found.lines[2:]] == kinds
    assert "programme pays" in found.sentence


def test_years_after_a_repair_are_those_of_the_record(record: Record, dead: View) -> None:
    """Six repairs; five come back after 30 days, the last has been away for 10: 160 / 5 days."""
    opened = load_job(record, dead.job.id).opened
    assert opened is not None
    job = load_job(record, dead.job.id)
    assert life_here(record, job, at(1, day=3).now) is None
    start = at(0).now - timedelta(days=400)
    for n in range(5):
        went, back = start + timedelta(n), start + timedelta(n + 30)
        for k, (came, left) in enumerate(((went, went), (back, None))):
            one = f"old-{n}-{k}"
            told = replace(opened, number=one, serial=f"S{n}")
            record.append(one, [told], At(came, "Ana"))
            if left is not None:
                record.append(one, [JobClosed("Repaired")], At(left, "Ana"))
    now = at(0).now
    record.append("old-5", [replace(opened, number="x", serial="S9")], At(now, "Ana"))
    record.append("old-5", [JobClosed("repaired")], At(now, "Ana"))
    life = life_here(record, job, now + timedelta(10))
    assert life is not None and (life.repairs, life.back) == (6, 5)
    assert life.years == pytest.approx((5 * 30 + 10) / 5 / 365.25)


def test_the_age_is_that_of_the_purchase_noted(record: Record, dead: View) -> None:
    job = dead.job.id
    assert age_words(load_job(record, job), TODAY) == ""
    record.append(job, [CoverNoted(purchased="2024-03-02")], at(1))
    assert age_words(load_job(record, job), TODAY) == "bought 2 March 2024, 2.0 years old"
