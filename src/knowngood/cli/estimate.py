"""The work behind ``knowngood paper estimate``; exit codes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from knowngood.cli.paperwork import on_job, print_account
from knowngood.documents.pdf import write_pdf
from knowngood.places import account
from knowngood.places.bill_paper import bill_paper
from knowngood.places.gather import load_job
from knowngood.places.life import life_here
from knowngood.places.paperwork import read_money
from knowngood.places.part_meant import parts_decided
from knowngood.places.plan_cost import PlanCost, money_of_plan
from knowngood.places.proposal import proposal
from knowngood.places.record import At, Record, Refused
from knowngood.places.tax_table import kinds_for, shop_taxes
from knowngood.places.typed_estimate import line_of, newer_of, percent_of, prices_of, taxes_of
from knowngood.shop.claim_check import SET_RATE
from knowngood.shop.estimate import repair_or_replace
from knowngood.shop.money import read_amount
from knowngood.store.problem import not_written


@dataclass(frozen=True, slots=True)
class Asked:
    """What was typed. `years` after the repair, `years_new` of a new one; 0 is not given.
    `rate` an hour and `prices` of the parts decided on, for an estimate from the plan."""

    currency: str
    lines: tuple[str, ...]
    taxes: tuple[str, ...]
    tax_on: str
    new: str
    years: float
    years_new: float
    bad_case: str
    deposit: str
    from_plan: bool
    out: Path | None
    rate: str = ""
    prices: tuple[str, ...] = ()


def estimate(job: str, asked: Asked, store: Path | None, by: str) -> int:
    """Write the estimate, or say how it stands."""

    def work(record: Record, at: At, job_id: str) -> None:
        if asked.lines and asked.from_plan:
            raise Refused("--line or --from-plan, one of both")
        if asked.lines or asked.from_plan:
            if not asked.currency:
                raise Refused("an estimate needs its currency: --currency USD")
            _made(record, at, job_id, asked)
        it = account.account_of(record, load_job(record, job_id))
        currency = it.bill.taxed.gross.currency if it is not None else asked.currency
        if asked.currency not in ("", currency):
            raise Refused(f"the estimate of this job is in {currency}, not {asked.currency}")
        print_account(it)
        if asked.new and it is not None and it.worthwhile is None:
            spans = (Decimal(str(asked.years)), Decimal(str(asked.years_new)))
            price = read_amount(asked.new, currency)
            print(repair_or_replace(it.bill.taxed.gross, price, *spans).sentence)
        if asked.out is not None:
            paper = bill_paper(record, load_job(record, job_id), at.now)
            try:
                print(f"written: {write_pdf(paper, {}, asked.out, at.now)}")
            except OSError as error:
                raise Refused(not_written(asked.out, error)) from error

    return on_job(job, store, by, work)


def _asks(cost: PlanCost) -> str:
    """What has to be said before the plan's figures are money, and where."""
    ways = [] if cost.rate_given else [f"--rate 90.00 says it here; for good, {SET_RATE}"]
    for one in cost.unpriced:
        words = one.words.lower()
        typed = "84.00" if one == cost.to_fit[0] else f'"{words}=84.00"'
        ways.append(f"--price {typed} says what you ask for the {words}")
    return f"before it is money: {'; '.join(cost.not_given)}. {'; '.join(ways)}; nothing was stored"


def _made(record: Record, at: At, job_id: str, asked: Asked) -> None:
    usual = shop_taxes(record, asked.currency)
    if asked.taxes or usual is None:
        taxes = taxes_of(",".join(asked.taxes), asked.tax_on or "total")
    else:
        on = asked.tax_on or usual.taxes.on
        taxes = replace(usual.taxes, on=taxes_of("", on).on)
    bad = read_money(asked.bad_case, asked.currency) if asked.bad_case else None
    if asked.from_plan:
        job, given = load_job(record, job_id), taxes if asked.taxes else None
        if (currency := money_of_plan(record, job)) != asked.currency:
            raise Refused(f"the job is in {currency}, not {asked.currency}")
        rate = read_money(asked.rate, currency).amount if asked.rate else None
        prices = prices_of(asked.prices, parts_decided(job), currency)
        found = proposal(record, job, at.now.date(), rate, prices, given)
        if found.cost.not_given:
            raise Refused(_asks(found.cost))
        print(f"{found.sentence[:1].upper()}{found.sentence[1:]}")
        lines, taxes, bad = list(found.lines), found.taxes, bad or found.bad_case
    else:
        kinds = kinds_for(usual, taxes)
        lines = [line_of(line, asked.currency, kinds) for line in asked.lines]
    new_years, years = (str(y) if y else "" for y in (asked.years_new, asked.years))
    if asked.new and not years and (life := life_here(record, load_job(record, job_id), at.now)):
        print(f"After the repair: {life.words}")
        years = f"{life.years:.1f}"
    newer = newer_of(asked.new, new_years, years, asked.currency) if asked.new else None
    account.make_estimate(
        record, job_id, lines, taxes, asked.currency, at, bad, percent_of(asked.deposit), newer
    )
