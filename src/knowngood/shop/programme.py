"""A maker's warranty programme as the shop writes it down. Values only; `programme_file` reads it.

Cover is by group of parts and by use. Nothing here decides what the law gives the customer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final, Literal

Use = Literal["household", "commercial", "rental"]
From = Literal["purchase", "delivery", "manufacture"]
USES: Final[tuple[Use, ...]] = ("household", "commercial", "rental")
REST: Final = "everything else"
"""The group of all parts that no other group names."""


@dataclass(frozen=True, slots=True)
class CoverLine:
    """`months` from `counted_from` for one group of parts in one use. 0 months: not covered."""

    group: str
    use: Use
    months: int
    counted_from: From = "purchase"


@dataclass(frozen=True, slots=True)
class Exclusion:
    """A question whose yes ends the cover, unless `except_groups` names the group."""

    id: str
    ask: str
    words: str
    evidence: str = ""
    except_groups: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Labour:
    """`flat`: minutes by code. `by_minutes`: measured minutes are paid too, up to `cap_minutes`.

    `rate`: money an hour; None is the shop's own rate. `diagnosis_minutes`: paid on top of a flat
    rate, up to so many; 0 is none.
    """

    rate: Decimal | None = None
    by_minutes: bool = True
    cap_minutes: Decimal | None = None
    flat: Mapping[str, tuple[str, Decimal]] | None = None
    diagnosis_minutes: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Notice:
    """A recall or service notice. A serial is meant when it lies between the two, as text of equal
    length and the same leading letters; `stop_use`: the machine is not to be run. `maker`: ""
    where the list or programme is of one maker; `source`: where it was read."""

    id: str
    words: str
    models: tuple[str, ...]
    serial_from: str
    serial_to: str
    stop_use: bool = False
    maker: str = ""
    source: str = ""

    def means(self, model: str, serial: str, maker: str = "") -> bool:
        """Whether a machine of this plate is among those it speaks of."""
        if self.maker and maker and same_name(self.maker) != same_name(maker):
            return False
        if self.models and model.strip().upper() not in {m.upper() for m in self.models}:
            return False
        low, high, one = (plate_of(s) for s in (self.serial_from, self.serial_to, serial))
        return bool(one) and len(low) == len(one) and low <= one <= high


def same_name(name: str) -> str:
    """A maker's name as it is compared."""
    return " ".join(name.casefold().split())


def plate_of(serial: str) -> str:
    """A serial as it is compared: capitals and digits without marks."""
    return "".join(c for c in serial.upper() if c.isalnum())


@dataclass(frozen=True, slots=True)
class Programme:
    """`groups`: which service parts (ids) belong to a named group. `wants`: what a claim must
    show, by id of `claim_check.WANTED`. `keep_days`: how long a failed part is kept, `keep_how`.
    `approval_above`: a claim above this needs a word from the programme before the work.
    `sold_from`, `sold_until`: for machines bought in these days, None where there is no end."""

    id: str
    words: str
    maker: str
    currency: str
    cover: tuple[CoverLine, ...]
    groups: Mapping[str, tuple[str, ...]]
    proof: tuple[str, ...]
    exclusions: tuple[Exclusion, ...]
    approval_above: Decimal | None
    labour: Labour
    parts_markup: Decimal
    claim_days: int
    keep_days: int
    keep_how: str
    wants: tuple[str, ...]
    notices: tuple[Notice, ...]
    source: str
    digest: str
    sold_from: date | None = None
    sold_until: date | None = None

    def speaks_of(self, maker: str, purchased: date | None) -> bool:
        """Whether it is for this maker's machines bought on that day (None: not known)."""
        if same_name(maker) != same_name(self.maker):
            return False
        if purchased is None:
            return True
        begins, ends = self.sold_from or date.min, self.sold_until or date.max
        return begins <= purchased <= ends

    def group_of(self, part: str) -> str:
        """The group of a service part."""
        return next((g for g, parts in self.groups.items() if part in parts), REST)

    def line_for(self, part: str, use: Use) -> CoverLine | None:
        """The line that covers a part in this use; the parser sees to it that there is one."""
        group = self.group_of(part)
        return next((c for c in self.cover if c.group == group and c.use == use), None)


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of one machine; None or "" is not known yet.

    `answers`: exclusion id -> yes/no. `proof`: which of the programme's proofs are in hand.
    `part`: the service part in question, "" before one is decided (then the answer is for
    `REST`, and says so). `price`: what the claim would come to. `claimed`: the day a claim first
    went out. `causes`: (id, words) of what was found to be why it failed.
    """

    model: str = ""
    serial: str = ""
    use: Use | None = None
    purchased: date | None = None
    delivered: date | None = None
    made: date | None = None
    failed: date | None = None
    proof: tuple[str, ...] = ()
    answers: Mapping[str, bool] | None = None
    part: str = ""
    price: Decimal | None = None
    approved_up_to: Decimal | None = None
    approved_by: str = ""
    claimed: date | None = None
    causes: tuple[tuple[str, str], ...] = ()
