"""Where a plan ends by fitting parts in an order: that order, and its exact price."""

from __future__ import annotations

import numpy as np

from knowngood.isolate.bounds import Bounds
from knowngood.isolate.model import Ints
from knowngood.isolate.policy import Node
from knowngood.isolate.task import Floats


def fit_orders(bounds: Bounds, belief: Floats, frame: Ints) -> list[tuple[Node, float]]:
    """The best order known at each belief (L, n), or giving up, and what it costs."""
    m, o = bounds.model, bounds.orders
    assert o is not None
    price = np.full(len(belief), np.inf)
    orders: list[list[int]] = [[] for _ in belief]
    for f in np.unique(frame).tolist():
        here = np.flatnonzero(frame == f)
        prices = belief[here] @ bounds.columns[f, :, bounds.order_at :]
        best = prices.argmin(1)
        price[here] = prices[np.arange(len(here)), best]
        wanted = bounds.wanted[f].tolist()
        for k, pick in zip(here.tolist(), bounds.picked[f, best].tolist(), strict=True):
            row, cut = divmod(pick, m.P + 1)
            orders[k] = [p for p in o.pool[row, :cut].tolist() if wanted[p]]
    fitted = bounds.fitted[frame]
    bits = o.open_bits()[bounds.open_id[frame]]
    own, picks, keep = o.best(belief, fitted, bits)
    units = [np.flatnonzero(u).tolist() for u in o.units]
    for k in np.flatnonzero(own < price).tolist():
        has = fitted[k].tolist()
        order = [p for u in picks[k, : keep[k]].tolist() for p in units[u] if not has[p]]
        orders[k] = list(dict.fromkeys(order))
    return _priced(bounds, belief, frame, orders)


def _priced(
    bounds: Bounds, belief: Floats, frame: Ints, orders: list[list[int]]
) -> list[tuple[Node, float]]:
    """The orders without parts that only ruled out faults want, part by part."""
    m, o = bounds.model, bounds.orders
    assert o is not None
    fitted, now = bounds.fitted[frame].copy(), o.open_bits()[bounds.open_id[frame]].copy()
    mass = np.where(bounds.cured[frame], 0.0, belief)
    lack = (m.wants & ~fitted[:, None, :]).sum(2)
    longest = max((len(x) for x in orders), default=0)
    table = np.full((len(orders), longest), -1)
    for k, x in enumerate(orders):
        table[k, : len(x)] = x
    took = np.zeros(table.shape, dtype=bool)
    spent = np.zeros(len(orders))
    for at in range(longest):
        on = np.flatnonzero(table[:, at] >= 0)
        p = table[on, at]
        asked = m.wants[:, p].T
        go = np.any(asked & (mass[on] > 0), axis=1)
        on, p, asked = on[go], p[go], asked[go]
        took[on, at] = True
        need, shut = o.need[p], o.shut[p]
        cost = o.part_price[p] + (need & ~now[on]) @ o.cover_price
        cost = cost + (shut & now[on]) @ o.close_price
        spent[on] += cost * mass[on].sum(1)
        now[on] = (now[on] | need) & ~shut
        lack[on] -= asked
        mass[on] *= ~(m.curable & (lack[on] == 0))
    left = mass.sum(1)
    end = np.inf if m.give_up is None else m.give_up
    spent += np.where(left > 0, end, 0.0) * np.where(left > 0, left, 1.0)
    out: list[tuple[Node, float]] = []
    for k, price in enumerate(spent.tolist()):
        parts = tuple(m.parts[p].id for p in table[k][took[k]])
        if m.give_up is not None and (m.give_up <= price or not parts):
            out.append((Node("give_up"), m.give_up))
        else:
            out.append((Node("fit_order", parts=parts), price))
    return out
