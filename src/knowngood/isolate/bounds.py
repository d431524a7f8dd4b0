"""Bounds on the price from any standing, linear in the belief for given covers and parts.

A frame is what is open and what is fitted. Its columns, multiplied with a belief, give lower
bounds (the fault is known from the next step on: "full observability backed up once") and
upper bounds (a fixed order of fitting without another test, given up at the best place).
"""

from __future__ import annotations

import numpy as np

from knowngood.isolate.information import Information
from knowngood.isolate.model import Ints, Model
from knowngood.isolate.orders import Orders
from knowngood.isolate.task import Bools, Floats

EXTRA = 10
NEVER = 1e18


class Bounds:
    """Frames of one model, made when first needed, in arrays with one row for each frame.

    ``price`` (F, T + P): each step with its covers; ``test_frame`` (F, T) the frame after each
    test; ``known`` (F, n): price once the fault is known; ``gone`` (F, P, n): cured once that
    part is fitted too. ``columns`` (F, n, K), goal ``cured``: one for each part fitted first,
    then known (`part_at`); one for each way to the tests, without their price (`way_at`);
    known at once (`known_at`); orders of fitting, two for each first part, then others
    (`order_at`). ``info``: for each frame a table bits -> least price.
    """

    def __init__(self, model: Model) -> None:
        m = self.model = model
        self.count, self.room = 0, 32
        self.index: dict[tuple[int, bytes], int] = {}
        self.open_id: Ints = np.empty(self.room, dtype=np.int64)
        self.way_at, self.known_at = m.P, m.P + m.C
        self.order_at = self.known_at + 1
        k = self.order_at + m.P + EXTRA if m.cured else 0
        self.price: Floats = np.empty((self.room, m.T + m.P))
        self.to: Ints = np.empty((self.room, m.T + m.P), dtype=np.int64)
        self.test_frame: Ints = np.empty((self.room, m.T), dtype=np.int64)
        self.part_frame: Ints = np.empty((self.room, m.P), dtype=np.int64)
        self.fitted: Bools = np.empty((self.room, m.P), dtype=bool)
        self.cured: Bools = np.empty((self.room, m.n), dtype=bool)
        self.wanted: Bools = np.empty((self.room, m.P), dtype=bool)
        self.known: Floats = np.empty((self.room, m.n))
        self.gone: Bools = np.empty((self.room, m.P, m.n), dtype=bool)
        self.columns: Floats = np.empty((self.room, m.n, k))
        self.picked: Ints = np.empty((self.room, m.P + EXTRA if m.cured else 0), np.int64)
        self.info: list[Floats] = []
        self.orders = Orders(m) if m.cured else None
        self.information = Information(m)
        covers = m.task.covers
        self.cover_price = np.array([c.price for c in covers])
        ways = [m.ways[w] for w in m.way[: m.T]]
        need = [[bool(w >> i & 1) for i in range(len(covers))] for w, _ in ways]
        self.test_need = np.array(need, dtype=bool).reshape(m.T, len(covers))
        self.frames([0], [np.zeros(m.P, dtype=bool)])

    def frames(self, open_ids: list[int], fitted: list[Bools]) -> list[int]:
        """Indices of the frames for these covers and parts."""
        found, new, count = [], [], self.count
        for k, (i, f) in enumerate(zip(open_ids, fitted, strict=True)):
            at = self.index.setdefault((i, f.tobytes()), count)
            if at == count:
                count += 1
                new.append(k)
            found.append(at)
        if new:
            self._make(
                np.array([open_ids[k] for k in new]), np.array([fitted[k] for k in new], bool)
            )
        return found

    def ready(self, frames: Ints) -> None:
        """Make the frames that tests lead to from these."""
        m = self.model
        if not m.T:
            return
        lack = np.unique(frames[self.test_frame[frames, 0] < 0])
        if len(lack):
            ids = self.to[lack][:, m.way_starts]
            after = self.frames(
                [int(i) for i in ids.ravel()], list(np.repeat(self.fitted[lack], m.C, axis=0))
            )
            counts = np.diff(np.append(m.way_starts, m.T))
            by_way = np.array(after).reshape(len(lack), m.C)
            self.test_frame[lack] = np.repeat(by_way, counts, axis=1)

    def after_parts(self, frames: Ints, parts: Ints) -> Ints:
        """Frames after fitting parts, one of each."""
        m = self.model
        lack = np.flatnonzero(self.part_frame[frames, parts] < 0)
        if len(lack):
            f, p = frames[lack], parts[lack]
            fitted = self.fitted[f]
            fitted[np.arange(len(f)), p] = True
            after = self.frames([int(i) for i in self.to[f, m.T + p]], list(fitted))
            self.part_frame[f, p] = after
        return np.asarray(self.part_frame[frames, parts])

    def _grow(self, need: int) -> None:
        if need <= self.room:
            return
        self.room = max(need, 2 * self.room)
        for name in (
            "open_id", "price", "to", "test_frame", "part_frame", "fitted", "cured", "wanted",
            "known", "gone", "columns", "picked",
        ):  # fmt: skip
            old = getattr(self, name)
            new = np.empty((self.room, *old.shape[1:]), dtype=old.dtype)
            new[: self.count] = old[: self.count]
            setattr(self, name, new)

    def _make(self, open_ids: Ints, fitted: Bools) -> None:
        m = self.model
        self._grow(self.count + len(open_ids))
        s = slice(self.count, self.count + len(open_ids))
        self.count = s.stop
        self.open_id[s], self.fitted[s] = open_ids, fitted
        for f, i in enumerate(open_ids, s.start):
            self.price[f], self.to[f] = m.reach(int(i))
        self.test_frame[s] = self.part_frame[s] = -1
        if self.orders is None:
            self.cured[s] = False
            self.known[s] = m.floor
            for i in open_ids:
                self.info.append(self.information.table(self._with_covers(int(i))))
            return
        o = self.orders
        want = m.wants & ~fitted[:, None, :]
        cured = m.curable & ~want.any(2)
        bits = o.open_bits()
        is_open = bits[open_ids]
        known = np.where(cured, 0.0, self._known(want, is_open))
        if not self.info:
            most = self._known(want[:1], np.zeros_like(is_open[:1]))[0]
            most = most + (want[0].astype(float) @ o.shut > 0) @ o.close_price
            self.info.append(self.information.cured_table(o.part_price, most))
        last = (want.sum(2) == 1)[:, None, :] & want.transpose(0, 2, 1)
        gone = (m.curable & last) | cured[:, None, :]
        first = np.where(gone, 0.0, self._first(want, bits[self.to[s, m.T :]]))
        first += self.price[s, m.T :, None]
        wanted = (want & ~cured[:, :, None]).any(1)
        first[~wanted] = NEVER
        self.cured[s], self.known[s], self.gone[s] = cured, known, gone
        self.wanted[s] = wanted
        c = self.columns[s]
        c[:, :, : m.P] = first.transpose(0, 2, 1)
        way_open = bits[self.to[s][:, m.way_starts]]
        by_way = self._known(want[:, None], way_open)
        c[:, :, self.way_at : self.known_at] = np.where(
            cured[:, :, None], 0.0, by_way.transpose(0, 2, 1)
        )
        c[:, :, self.known_at] = known
        c[:, :, self.order_at :] = self._pool(s, is_open, want & ~cured[:, :, None])

    def _known(self, want: Bools, is_open: Bools) -> Floats:
        """(..., n, P) parts missing, (..., covers) open -> (..., n) price of a known fault."""
        m, o = self.model, self.orders
        assert o is not None
        w = want.astype(float)
        cost = w @ o.part_price
        if len(o.bits):
            now = is_open[..., None, :]
            cost = cost + ((w @ o.need > 0) & ~now) @ o.cover_price
            if o.shut.any():
                cost = cost + ((w @ o.shut > 0) & now) @ o.close_price
        if m.give_up is not None:
            cost = np.where(m.curable, np.minimum(cost, m.give_up), m.give_up)
        return np.asarray(cost)

    def _first(self, want: Bools, is_open: Bools) -> Floats:
        """(F, P, n) price of a known fault once each part is fitted, covers (F, P, C) open."""
        m, o = self.model, self.orders
        assert o is not None
        w = want.astype(float)
        cost = np.repeat((w @ o.part_price)[:, None, :], m.P, axis=1)
        f, i, p = np.nonzero(want)  # without the part itself, where it is one of them
        less = w[f, i]
        less[np.arange(len(f)), p] = 0.0
        own = less @ o.part_price
        if len(o.bits):
            ask, now = (w @ o.need > 0).transpose(0, 2, 1), is_open[f, p]
            cost += (~is_open * o.cover_price) @ ask
            own += ((less @ o.need > 0) & ~now) @ o.cover_price
            if o.shut.any():
                cost += (is_open * o.close_price) @ (w @ o.shut > 0).transpose(0, 2, 1)
                own += ((less @ o.shut > 0) & now) @ o.close_price
        cost[f, p, i] = own
        if m.give_up is not None:
            cost = np.where(m.curable, np.minimum(cost, m.give_up), m.give_up)
        return np.asarray(cost)

    def _pool(self, s: slice, is_open: Bools, want: Bools) -> Floats:
        """(F, n, P + EXTRA) prices of orders: one for each first part, then the best of the
        pool, each cut short by giving up wherever that is best somewhere."""
        m, o = self.model, self.orders
        assert o is not None
        pool, frames, base = o.pool, len(want), o.base
        price, spent, last = o.prices(pool, is_open, want)
        end = 0.0 if m.give_up is None else m.give_up
        lead = np.where(m.curable, price[:, base:], spent[:, base:, -1:] + end)
        price, spent, last = price[:, :base], spent[:, :base], last[:, :base]
        cuts = np.array([m.P]) if m.give_up is None else o.cuts
        reached = np.where(m.curable, last, m.P + 1)[:, :, None, :]
        table = np.where(
            reached <= cuts[:, None], price[:, :, None, :], spent[:, :, cuts, None] + end
        ).reshape(frames, -1, m.n)
        table = np.where(self.cured[s][:, None, :], 0.0, table)
        winner = (o.samples @ table.transpose(0, 2, 1)).argmin(2)
        rows = table.shape[1]
        wins = np.bincount(
            (winner + rows * np.arange(frames)[:, None]).ravel(), minlength=rows * frames
        ).reshape(frames, rows)
        best = np.argsort(-wins, axis=1, kind="stable")[:, :EXTRA]
        best = np.where(np.take_along_axis(wins, best, 1) > 0, best, best[:, :1])
        best = np.hstack([best, np.repeat(best[:, :1], EXTRA - best.shape[1], axis=1)])
        self.picked[s, : m.P] = (base + np.arange(m.P)) * (m.P + 1) + m.P
        self.picked[s, m.P :] = best // len(cuts) * (m.P + 1) + cuts[best % len(cuts)]
        lead = np.where(self.cured[s][:, None, :], 0.0, lead)
        found = np.take_along_axis(table, best[:, :, None], axis=1)
        return np.concatenate([lead, found], axis=1).transpose(0, 2, 1)

    def learn(self, belief: Floats) -> float:
        """Least price of what must be learned from the start, with covers opened for nothing: goal
        ``cured`` has those that the true part needs in the price of the known fault."""
        m, o = self.model, self.orders
        shut = self._shut(0)
        vain = np.ones((m.n, len(shut)))
        if o is not None:
            vain = 1.0 - (m.wants.astype(float) @ o.need > 0)
        covers = self._shares(shut) * self.cover_price
        return self.information.at(belief, m.price[: m.T, None] + covers @ vain.T)

    def _shut(self, open_id: int) -> Bools:
        now = self.model.opens[open_id]
        return np.array([not now >> i & 1 for i in range(len(self.cover_price))], dtype=bool)

    def _shares(self, shut: Bools) -> Floats:
        """(T, covers) shares of each test in the covers it needs, shares summing to 1."""
        worth = self.information.capacity / (self.model.price[: self.model.T] + 1e-9)
        asks = (self.test_need & shut) * worth[:, None]
        return np.asarray(asks / np.where(asks.sum(0) > 0, asks.sum(0), 1.0))

    def _with_covers(self, open_id: int) -> Floats:
        """(T,) price of each test and its share of the covers it needs."""
        price = self.model.price[: self.model.T]
        return np.asarray(price + self._shares(self._shut(open_id)) @ self.cover_price)
