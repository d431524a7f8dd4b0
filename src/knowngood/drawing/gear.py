"""What in a drawing is the shop's own and no part of the machine: a supply, a load, a jumper."""

from __future__ import annotations

import re

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.element import Element

_SHOPS = re.compile(r"\bshop\b", re.IGNORECASE)


def is_gear(element: Element) -> bool:
    """Whether its words say so: "fused jumper of the shop"."""
    return _SHOPS.search(element.words) is not None


def shop_gear(circuit: Circuit) -> frozenset[str]:
    """References of the elements that are the shop's."""
    return frozenset(e.ref for e in circuit.elements if is_gear(e))
