"""A step as the bench shows it: one list of fields, whoever makes it.

A test of the plan, a capacitor that is measured before it, a phone that walks the plan alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

Json = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepFace:
    """What a default leaves out the screen does not show.

    ``opens`` and ``closes``: what comes off and goes back first, ``minding`` the caution of each
    of the first; ``out_first``: what of it takes the energy out. ``mind``: the cautions in short.
    ``pairs``: where red and black go, one pair after another. ``live_open``: a source is connected
    while the machine is open, which needs an explicit yes. ``discharge``: the capacitor that is
    measured before; of that itself ``below`` are the volts under which it is empty, and ``said``
    is what its last reading lacked. ``same``: the text that the key of that name repeats.
    """

    kind: str
    id: str
    words: str
    question: str = ""
    minutes: str = ""
    condition: str = ""
    held: Sequence[str] = ()
    opens: Sequence[str] = ()
    minding: Sequence[str] = ()
    out_first: Sequence[str] = ()
    closes: Sequence[str] = ()
    red: str = ""
    black: str = ""
    probe: Sequence[Sequence[str]] = ()
    pairs: Sequence[Sequence[str]] = ()
    expect: str = ""
    cautions: Sequence[str] = ()
    mind: str = ""
    energised: bool = False
    live_open: bool = False
    costs_more: str = ""
    price: str = ""
    unseen: Sequence[Json] = ()
    quantity: str = ""
    grade: str = ""
    keys: Json | None = None
    as_expected: str | None = None
    same: str | None = None
    good: str | None = None
    known: str = ""
    discharge: Json | None = None
    below: float | None = None
    said: str = ""

    def as_json(self) -> Json:
        """Every field by its name, also those that were left out."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


BLANK: Json = StepFace(kind="test", id="", words="").as_json()
"""A step of which nothing is known: what a phone lays its plan on."""
