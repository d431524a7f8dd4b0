"""An estimate made from the plan, as lines a person reads over before they count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Final, get_args

from knowngood.job.job import Job
from knowngood.job.paperwork import EstimateMade
from knowngood.places.account import taxes_from
from knowngood.places.paperwork import cover_of, programme_of
from knowngood.places.parts import number_now
from knowngood.places.plan_cost import PlanCost, ToFit, plan_cost
from knowngood.places.premises import the_shop
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import NOT_SET
from knowngood.places.tax_table import shop_taxes
from knowngood.shop.estimate import Kind, Line, bill
from knowngood.shop.money import Money, Taxes

LATEST: Final = 50_000  # events of the record in which an estimate before is looked for


@dataclass(frozen=True, slots=True)
class Proposal:
    """`bad_case` with tax; `taxes` and which kind of line is taxed by which are the shop's own,
    else as the estimate before had them."""

    lines: tuple[Line, ...]
    taxes: Taxes
    currency: str
    bad_case: Money
    cost: PlanCost
    fee: str = ""

    @property
    def sentence(self) -> str:
        return f"{self.cost.sentence}; {self.fee}" if self.fee else self.cost.sentence


def proposal(
    record: Record, job: Job, today: date, rate: Decimal | None = None,
    said: Mapping[str, Decimal] | None = None, taxes: Taxes | None = None,
) -> Proposal:  # fmt: skip
    """Expected minutes at the job's rate and each part decided on, or what the plan expects of
    parts, and the shop's diagnosis fee. Raises Refused without a machine file. ``rate`` and
    ``said`` as `plan_cost` has them. ``taxes``: the one rate of every line, in place of the shop's
    usual."""
    cost = plan_cost(record, job, rate, said)
    if taxes is None:
        taxes, by_kind = usual_taxes(record, cost.currency)
    elif not taxes.percent:
        by_kind = {}
    elif len(taxes.percent) == 1:
        by_kind = dict.fromkeys(get_args(Kind), next(iter(taxes.percent)))
    else:
        raise Refused(
            f"which of {', '.join(taxes.percent)} is for which line? Write the lines, each with "
            "its tax, or give one rate for all"
        )
    it, currency = cost.likely, cost.currency
    done = f", {cost.so_far:.0f} min of it done" if cost.so_far else ""
    done += "" if cost.rate_given else f" ({NOT_SET})"
    labour = Line("labour", f"find and mend, about {it.minutes:.0f} min{done}",
                  Money(it.labour, currency), tax=by_kind.get("labour", ""))  # fmt: skip
    parts = [(_part_words(record, job, one), one.price) for one in cost.to_fit]
    if not cost.to_fit:
        parts = [("parts at the machine file's usual prices, before the fault is found", it.parts)]
    of_parts = [Line("part", words, Money(price, currency).rounded(), tax=by_kind.get("part", ""))
                for words, price in parts if price]  # fmt: skip
    lines = [labour, *of_parts]
    fee, about_fee = _fee(record, job, currency, by_kind, today)
    lines += fee
    worst = Line("labour", "bad case", Money(max(it.bad_total - it.parts, Decimal(0)), currency),
                 tax=labour.tax)  # fmt: skip
    bad = bill([worst, *lines[1:]], taxes, currency).taxed.gross
    expected = bill(lines, taxes, currency).taxed.gross
    return Proposal(tuple(lines), taxes, currency, max(bad, expected), cost, about_fee)


def _part_words(record: Record, job: Job, one: ToFit) -> str:
    """ "1 x Start box BW-212": by the number that is ordered now."""
    number = number_now(record, one.number, job.opened.maker if job.opened else "")[0]
    named = f"1 x {one.words} {number}".strip()
    return named if one.given else f"{named} (price not set by the shop)"


def _fee(
    record: Record, job: Job, currency: str, by_kind: dict[str, str], today: date
) -> tuple[list[Line], str]:
    """The fee's lines and a word on it: none where a programme covers the job and pays diagnosis;
    taken off again where the shop credits it. The terms are those of the check-in, else today's."""
    rates, sheet = job.opened.rates if job.opened else {}, the_shop(record)
    pinned = rates.get("fee_amount")
    amount = pinned if isinstance(pinned, int | float) else sheet.fee_amount
    if not amount or sheet.currency not in ("", currency):
        return [], ""
    credited = bool(rates.get("fee_credited")) if pinned else sheet.fee_credited
    cover, programme = cover_of(record, job, today), programme_of(record, job)
    if programme is not None and cover is not None and cover.answer == "covered":
        paid = programme.labour.diagnosis_minutes
        if paid:
            return [], f"no diagnosis fee: the programme pays up to {paid:f} min of diagnosis"
        said = "the programme pays no diagnosis: may the customer be asked for the fee?"
    else:
        said = "the fee is credited when the repair goes ahead" if credited else ""
    money = Money(Decimal(str(amount)), currency)
    lines = [Line("fee", "diagnosis fee", money, tax=by_kind.get("fee", by_kind.get("labour", "")))]
    if credited:
        lines.append(replace(lines[0], kind="credit", words="diagnosis fee, credited",
                             price=-money))  # fmt: skip
    return lines, said


def usual_taxes(record: Record, currency: str) -> tuple[Taxes, dict[str, str]]:
    """The shop's table and the rate of each kind of line; where it set none, as the latest estimate
    in this currency had them."""
    if (own := shop_taxes(record, currency)) is not None:
        return own.taxes, dict(own.kinds)
    since = max(record.log.newest() - LATEST, 0)
    made = [e.event for e in record.log.of_kinds(["EstimateMade"], since)
            if isinstance(e.event, EstimateMade) and e.event.currency == currency]  # fmt: skip
    if not made:
        return Taxes({}), {}
    lines = made[-1].lines["lines"]
    return taxes_from(made[-1]), {line["kind"]: line["tax"] for line in lines}
