"""The diagnosis as a person sees it: suspects, parts, readings, steps. Plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from knowngood.diagnosis.hazard import Hazard
from knowngood.isolate.belief import Belief
from knowngood.isolate.proof import Proof
from knowngood.machines.machine import RootCause

Standing = Literal["known good", "accepted", "good so far", "open", "bad"]
Verdict = Literal["good", "bad", "can't tell", "no evidence", ""]


@dataclass(frozen=True, slots=True)
class Suspect:
    """A hypothesis: ``shown_out_by`` names the test that shows it out ("" while it stands)."""

    id: str
    words: str
    parts: tuple[str, ...]
    prior: float
    belief: float
    shown_out_by: str


@dataclass(frozen=True, slots=True)
class PartView:
    """A service part: how it stands, by which evidence, and the belief that it is bad."""

    id: str
    words: str
    belief: float
    standing: Standing
    evidence: str


@dataclass(frozen=True, slots=True)
class Judged:
    """What one reading proved. ``sentence`` is for the bench; ``slip`` names a likely slip;
    ``each``: what every one of the readings behind it says by itself, in the order taken."""

    items: tuple[str, ...]
    test: str
    question: str
    verdict: Verdict
    sentence: str
    reads: str
    limits: str
    clears: tuple[str, ...]
    slip_chance: float
    slip: str
    each: tuple[Verdict, ...]

    def sentence_of(self, item: str, reads: str) -> str:
        """What is said of one of the readings behind it, which by itself ``reads`` so: of one that
        was read again only that, for the sentence is about the last."""
        if not self.items or item == self.items[-1]:
            return self.sentence
        return f"{self.question}: {reads}. Read again: [{self.items[-1]}]"


@dataclass(frozen=True, slots=True)
class StepView:
    """A next step, with all that is said at the bench. Money in the shop's currency.

    ``price``: expected price to the end if this is taken next, between ``lower`` and ``upper``
    at best; ``costs_more``: against the cheapest step. ``opens``: what comes off, in order, with
    what to mind while it does in ``minding`` ("" for nothing); ``closes``: what then goes back.
    ``cautions`` bind while the test is taken.
    """

    kind: Literal["test", "order", "stop"]
    id: str
    words: str
    question: str
    price: float
    lower: float
    upper: float
    costs_more: float
    minutes: float
    condition: str
    held: tuple[str, ...]
    opens: tuple[str, ...]
    closes: tuple[str, ...]
    points: tuple[str, str]
    expect: str
    cautions: tuple[str, ...]
    energised: bool
    minding: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Assessment:
    """Everything one screen needs. ``causes``: what to clear before the part is fitted."""

    suspects: tuple[Suspect, ...]
    parts: tuple[PartView, ...]
    readings: tuple[Judged, ...]
    steps: tuple[StepView, ...]
    held_back: Mapping[str, str]
    proof: Proof
    causes: tuple[RootCause, ...]
    lower: float
    upper: float
    expected_price: float
    seconds: float
    belief: Belief
    hazards: tuple[Hazard, ...] = ()  # parts to be left alone

    @property
    def next(self) -> StepView | None:
        return self.steps[0] if self.steps else None


def by_reason(held: Mapping[str, str]) -> Mapping[str, tuple[str, ...]]:
    """Tests held back, those with one reason together."""
    found: dict[str, tuple[str, ...]] = {}
    for test, why in held.items():
        found[why] = (*found.get(why, ()), test)
    return found
