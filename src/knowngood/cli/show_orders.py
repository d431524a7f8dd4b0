"""What of the parts is on order and what is here, at the bench."""

from __future__ import annotations

from collections.abc import Iterator

from knowngood.cli.show import wrapped
from knowngood.places.gather import View
from knowngood.places.sentence import lower_first
from knowngood.shop.supersession import same_number


def orders(view: View) -> Iterator[str]:
    """The parts on order, those that are here, and how to note either."""
    decision, shelf = view.job.decision, view.job.shelf
    for one in shelf.orders.values():
        due = f", due {one.expected}" if one.expected and one.arrived is None else ""
        where = f" ({one.where})" if one.where else ""
        yield from wrapped(f"{one.words}: {f'here{where}' if one.arrived else f'on order{due}'}")
    if shelf.on_order:
        yield "arrived [in PLACE]: it is here."
    elif decision is not None and decision.part not in shelf.orders:
        came = {same_number(text) for one in shelf.here for text in (one.part, one.words)}
        if decision.number and same_number(decision.number) in came:
            yield "That is the part decided on. arrived [in PLACE] notes it."
            return
        if shelf.here:
            yield from wrapped(f"The {lower_first(decision.words)} itself is not among them.")
        yield "Not ordered yet: ordered [DAY] [from SUPPLIER] notes it, arrived: it is here."
