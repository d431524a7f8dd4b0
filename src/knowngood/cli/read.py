"""``knowngood read TEXT``: what a reading is worth on a meter, with its uncertainty budget.

Exit codes: 0 done; 2 the text or a name is wrong, said with an example that works.
"""

from __future__ import annotations

import json
import sys
from dataclasses import asdict, replace
from typing import Final, get_args

from knowngood.diagnosis.sentences import reads
from knowngood.machines.nearest import did_you_mean
from knowngood.measure.budget import Budget, budget_table
from knowngood.measure.reading import Reading
from knowngood.measure.typed import read_text
from knowngood.measure.unit_table import DIMENSION_OF, Dimension, Quantity
from knowngood.measure.units import UnitError, parse_as, parse_measured
from knowngood.places.doubt import budget_of
from knowngood.places.library import find_meter
from knowngood.places.record import Refused

QUANTITIES: Final[tuple[Quantity, ...]] = tuple(q for q in get_args(Quantity) if q != "yes_no")


def read(
    text: str,
    meter: str | None = None,
    quantity: str | None = None,
    range_name: str | None = None,
    frequency: str | None = None,
    json_out: bool = False,
) -> int:
    """Print the reading and its budget; exit code. ``quantity``: by the unit unless it is given."""
    try:
        sheet = find_meter(meter).it if meter else None
        chosen = _quantity(text, quantity, frequency is not None)
        reading = read_text(text, chosen, sheet)
        if not reading.is_evidence:
            raise Refused(reading.note)
        hertz = parse_as(frequency, "frequency") if frequency else None
        if range_name is not None and sheet is None:
            raise Refused("--range needs --meter, whose sheet names the ranges")
        budget = None
        if reading.kind == "value":
            budget = budget_of(reading, sheet, hertz, range_name)
            reading = replace(reading, u_random=budget.u_random, u_shared=budget.u_shared)
    except (Refused, UnitError) as problem:
        print(problem, file=sys.stderr)
        return 2
    if json_out:
        answer = {"reading": reading.to_dict(), "budget": _plain(budget)}
        print(json.dumps(answer, ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(_lines(reading, budget)))
    return 0


def _quantity(text: str, named: str | None, alternating: bool) -> Quantity:
    if named is not None:
        for quantity in QUANTITIES:
            if named == quantity:
                return quantity
        raise Refused(f"no quantity {named[:40]!r}. {did_you_mean(named, QUANTITIES)}")
    try:
        found = parse_measured(text, None)
    except UnitError as error:
        raise Refused(f"{error}. Or name the quantity: --as ohms") from error
    dimension: Dimension | None = found.dimension
    for quantity in ("ac_volts",) if alternating or found.coupling == "ac" else QUANTITIES:
        if DIMENSION_OF[quantity] == dimension:
            return quantity
    raise Refused(f"{text!r} is no reading of a meter; name the quantity: --as ohms")


def _lines(reading: Reading, budget: Budget | None) -> list[str]:
    lines = [f"{reading.quantity}: {reads(reading)}"]
    if reading.note:
        lines.append(f"({reading.note})")
    return lines if budget is None else [*lines, budget_table(budget)]


def _plain(budget: Budget | None) -> dict[str, object] | None:
    if budget is None:
        return None
    sums = {"u_random": budget.u_random, "u_shared": budget.u_shared, "u": budget.u}
    return {**asdict(budget), **sums}
