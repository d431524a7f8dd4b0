"""An estimate made from the plan, as lines a person reads over before they count."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from knowngood.job.job import Job
from knowngood.job.paperwork import EstimateMade
from knowngood.places.account import taxes_from
from knowngood.places.plan_cost import PlanCost, plan_cost
from knowngood.places.record import Record
from knowngood.shop.estimate import Line, bill
from knowngood.shop.money import Money, Taxes

LATEST: Final = 50_000  # events of the record in which an estimate before is looked for


@dataclass(frozen=True, slots=True)
class Proposal:
    """`bad_case` with tax; `taxes` and which kind of line is taxed by which are the shop's own, as
    the estimate before had them."""

    lines: tuple[Line, ...]
    taxes: Taxes
    currency: str
    bad_case: Money
    cost: PlanCost

    @property
    def sentence(self) -> str:
        return self.cost.sentence


def proposal(record: Record, job: Job) -> Proposal:
    """Expected minutes at the job's rate and the part, or what the plan expects of parts. Raises
    Refused without a machine file."""
    cost = plan_cost(record, job)
    taxes, by_kind = usual_taxes(record, cost.currency)
    it, currency = cost.likely, cost.currency
    done = f", {cost.so_far:.0f} min of it done" if cost.so_far else ""
    part = f"1 x {cost.named}" if cost.named else "parts, as expected before the fault is found"
    labour = Line("labour", f"find and mend, about {it.minutes:.0f} min{done}",
                  Money(it.labour, currency), tax=by_kind.get("labour", ""))  # fmt: skip
    lines = [labour]
    if it.parts:
        lines.append(Line("part", part, Money(it.parts, currency), tax=by_kind.get("part", "")))
    worst = Line("labour", "bad case", Money(max(it.bad_total - it.parts, Decimal(0)), currency),
                 tax=labour.tax)  # fmt: skip
    bad = bill([worst, *lines[1:]], taxes, currency).taxed.gross
    expected = bill(lines, taxes, currency).taxed.gross
    return Proposal(tuple(lines), taxes, currency, max(bad, expected), cost)


def usual_taxes(record: Record, currency: str) -> tuple[Taxes, dict[str, str]]:
    """The taxes of the latest estimate in this currency, and the rate of each kind of line."""
    since = max(record.log.newest() - LATEST, 0)
    made = [e.event for e in record.log.of_kinds(["EstimateMade"], since)
            if isinstance(e.event, EstimateMade) and e.event.currency == currency]  # fmt: skip
    if not made:
        return Taxes({}), {}
    lines = made[-1].lines["lines"]
    return taxes_from(made[-1]), {line["kind"]: line["tax"] for line in lines}
