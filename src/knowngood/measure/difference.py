"""Two readings on one meter and range, compared: what they share falls out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from knowngood.measure.reading import Reading


@dataclass(frozen=True, slots=True)
class Difference:
    """a - b in the readings' base unit, with its standard uncertainties.

    `u_random` is of the two readings, `u_shared` what stays of the doubt that all readings on the
    range have in common. `alike`: both were on one meter, function and range.
    """

    value: float
    u_random: float
    u_shared: float
    alike: bool

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.hypot(self.u_random, self.u_shared)


def compare(a: Reading, b: Reading) -> Difference:
    """a - b. On the same meter, function and range the shared doubt is a common offset or gain:
    the offset falls out, and the gain acts on the difference only, so it adds
    (u_shared / size) x |a - b|, size being the larger reading. Otherwise the two are independent.

    Raises ValueError unless both are single numbers of one unit.
    """
    if a.unit != b.unit:
        raise ValueError(
            f"{a.text!r} is in {a.unit}, {b.text!r} in {b.unit}; compare like with like"
        )
    value = a.value - b.value
    random = math.hypot(a.u_random, b.u_random)
    alike = a.meter is not None and (a.meter, a.range_name, a.quantity) == (
        b.meter,
        b.range_name,
        b.quantity,
    )
    if not alike:
        return Difference(value, random, math.hypot(a.u_shared, b.u_shared), False)
    larger = a if abs(a.value) >= abs(b.value) else b
    size = abs(larger.value)
    gain = larger.u_shared * abs(value) / size if size else 0.0
    return Difference(value, random, gain, True)
