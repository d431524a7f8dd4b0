"""One reading as evidence: what was seen, in base units, with its uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Final, Literal, get_args

Kind = Literal["value", "over", "interval", "unsteady", "yes", "no", "none"]
PASSED_OVER: Final = frozenset({"skipped", "could not tell", "could not reach"})
"""Notes of a reading of kind none that a person passed over on purpose."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading. Numbers are in `unit`, a base unit (see `units`); standard uncertainties.

    kind      low, high
    value     low == high: what the meter showed, uncorrected
    over      low = where the range ends, high None ("OL")
    interval  between low and high ("3 to 5", "about 40")
    unsteady  jumps between low and high; both None if not said
    yes, no   both None
    none      both None: no evidence, `note` says why and what would work

    `correction`: add it to the value to estimate the thing itself (ohms of the leads of a meter not
    zeroed, an AC meter's bandwidth). `u_random` changes from reading to reading; `u_shared` is
    common to all readings on one meter, function and range. `resolution` is the worth of the last
    digit seen.
    """

    kind: Kind
    quantity: str
    low: float | None
    high: float | None
    unit: str
    text: str
    u_random: float = 0.0
    u_shared: float = 0.0
    resolution: float = 0.0
    meter: str | None = None
    range_name: str | None = None
    full_scale: float | None = None
    note: str = ""
    correction: float = 0.0

    @property
    def is_evidence(self) -> bool:
        return self.kind != "none"

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return float((self.u_random**2 + self.u_shared**2) ** 0.5)

    @property
    def value(self) -> float:
        """The number of a "value" reading. Raises ValueError for any other kind."""
        if self.kind != "value" or self.low is None:
            raise ValueError(f"a reading of kind {self.kind!r} ({self.text!r}) has no single value")
        return self.low

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Reading:
        """The reading that `to_dict` wrote. Raises ValueError naming the field that is off."""
        known = {f.name for f in fields(cls)}
        unknown = sorted(set(data) - known)
        if unknown:
            raise ValueError(f"a reading has no field {unknown[0]!r}; it has {sorted(known)}")
        missing = [n for n in ("kind", "quantity", "low", "high", "unit", "text") if n not in data]
        if missing:
            raise ValueError(f"a reading needs the field {missing[0]!r}")
        if data["kind"] not in get_args(Kind):
            raise ValueError(f"kind {data['kind']!r} is not one of {', '.join(get_args(Kind))}")
        return cls(**data)
