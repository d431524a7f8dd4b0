"""What a step, a wrong part and an unproven claim cost, in the shop's money."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True)
class Prices:
    """The shop's own figures. Defaults are common practice and meant to be changed.

    ``bench_rate``: money an hour. ``comeback``: a machine that returns unfixed or wrongly fixed.
    ``claim_worth`` and ``denied``: what a claim brings and the chance that one without proof is
    denied: what their product buys in minutes is spent on a proof, and no more (see
    docs/decisions/stops-without-proof.md). A claim for the wrong part brings nothing (``wrong``).
    ``shelf_day``: a day of waiting on the shelf.
    """

    bench_rate: float = 90.0
    comeback: float = 110.0
    claim_worth: float = 140.0
    denied: float = 0.35
    shelf_day: float = 1.0
    currency: str = "USD"

    def __post_init__(self) -> None:
        for f in fields(self):
            value = getattr(self, f.name)
            if isinstance(value, float) and not (math.isfinite(value) and value >= 0):
                raise ValueError(f"{f.name} is {value}; give a number of 0 or more")
        if self.denied > 1:
            raise ValueError(f"denied is {self.denied}; it is a chance, from 0 to 1")

    def of_minutes(self, minutes: float) -> float:
        return minutes * self.bench_rate / 60.0

    @property
    def wrong(self) -> float:
        """The wrong part, beside its own price: a comeback, and what the job would have brought
        beyond ``unproven``. A claim for a part that is good is charged back when the part returned
        tests good (TB 5-2330-378-14), so it is lost for sure and not only as often as any claim
        without proof; a customer does not pay for such a part either. Half of a cure counts as the
        wrong part, and a part called proven pays this alone, without ``unproven``: it is
        rarely wrong."""
        return self.comeback + self.claim_worth - self.unproven

    @property
    def unproven(self) -> float:
        return self.claim_worth * self.denied
