"""Every sum of the bench by its name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from knowngood.calculate.electrical_sums import ELECTRICAL
from knowngood.calculate.engine_sums import ENGINE
from knowngood.calculate.motor_sums import MOTOR
from knowngood.calculate.sums import Sum

GROUPS: Final[Mapping[str, tuple[Sum, ...]]] = {
    "Electrical": ELECTRICAL, "Motors": MOTOR, "Engines": ENGINE,
}  # fmt: skip
SUMS: Final[Mapping[str, Sum]] = {one.name: one for group in GROUPS.values() for one in group}
