"""Readings in bands, for planning only: at most six stretches of values and the special outcomes.

Beliefs always use the real reading. A band is a stretch in which the same forecast is the most
probable; its edges lie where two forecasts are equally probable, so forecasts closer together
than the meter can tell fall into one band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.belief import JUMPY, Belief, Weighed
from knowngood.isolate.likelihood import (
    SLIP_UNSTEADY,
    WITHIN,
    Node,
    anything_between,
    slip_over,
    source_of,
)
from knowngood.isolate.repeats import LASTING
from knowngood.isolate.round_edges import round_edges
from knowngood.isolate.table import Row, Table
from knowngood.measure.display import count_at, first_count
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import Reading

Array = NDArray[np.float64]

MOST_BANDS = 6
MOST_CELLS = 160
BESIDE = 3  # cells; a band of so few beside a fixed end is none
SHOWN_OUT = 0.01  # a reading this improbable shows a suspect out
SURE_SHARE = 0.9  # of a band's readings must do so for the plan to count on it


@dataclass(frozen=True, slots=True)
class Bands:
    """One test's outcomes on one meter.

    ``labels``: outcome ids; ``edges``: ``len(bands) + 1`` values in base units (outermost are
    infinite), empty for yes/no. ``given``: shape (forecasts, nodes, outcomes), no slip.
    ``anything``: shape (outcomes,), what a slip shows. ``out``: shape (forecasts, outcomes),
    share of the band's readings that would show the forecast out. ``at``: the nodes; ``ends``: the
    inner edges and the limit of the meter (values, u_random, u_shared), where there are any.
    """

    labels: tuple[str, ...]
    edges: tuple[float, ...]
    given: Array
    anything: Array
    out: Array
    at: tuple[Node, ...] = ()
    ends: tuple[Array, Array, Array] | None = None

    def place(self, reading: Reading) -> int:
        """The outcome that this reading is."""
        if reading.kind in self.labels:
            return self.labels.index(reading.kind)
        if reading.low is None or not self.edges:
            return 0
        middle = reading.low if reading.high is None else (reading.low + reading.high) / 2
        return int(np.searchsorted(self.edges[1:-1], middle, side="right"))


def make_bands(
    row: Row,
    meter: MeterSheet | None,
    at: Sequence[Node],
    most: int = MOST_BANDS,
    *,
    chances: Array | None = None,
    cuts: Sequence[float] = (),
) -> Bands:
    """Bands of a test read with this meter (``None``: an exact one with fine steps).
    Bands begin at a value that its display shows, and hold it. ``chances`` (causes, forecasts), how
    likely each cause and forecast are together: for paper, bands that part the causes, with round
    edges no finer than the meter can tell. ``cuts``: values
    (rising, base units) at which a band ends whatever the forecasts, as long as the meter holds
    them."""
    if row.quantity == "yes_no":
        yes = row.mixture.yes
        given = np.stack([yes, 1 - yes], axis=1)[:, None, :].repeat(len(at), axis=1)
        return Bands(("yes", "no"), (), given, np.array([0.5, 0.5]), _out_yes_no(yes), tuple(at))
    if meter is None:
        x, u_random, u_shared, limit = _exact_grid(row, cuts)
    else:
        x, u_random, u_shared, limit = _grid(row, meter, cuts)
    finite = row.mixture.finite()
    at_edges = _below(row, x, u_random, u_shared, at)
    # forecasts, nodes, edges
    whole = np.concatenate(
        [np.zeros_like(at_edges[:, :, :1]), at_edges, _full(finite, at_edges, limit, x)], axis=2
    )
    cells = np.clip(np.diff(whole, axis=2), 0.0, None)  # forecasts, nodes, cells
    weights = np.array([n.weight for n in at])
    average = np.einsum("dnc,n->dc", cells, weights)
    fixed = [int(np.searchsorted(x, c)) + 1 for c in cuts if c in x and c < limit]
    starts = _merge(average if chances is None else chances @ average, most, fixed)
    inner_edges = [float(x[s - 1]) for s in starts[1:]]
    banded = np.add.reduceat(cells, starts, axis=2)
    ends = None
    if inner_edges:
        inner_edges, ends = _readable(
            row, meter, at, inner_edges, limit, cuts, paper=chances is not None)
        banded = _banded(row, ends, at, len(inner_edges) + 1)
    edges = [-np.inf, *inner_edges, np.inf]
    given = _with_rest(row, banded)
    over = given[:, :, -2]
    step = np.maximum(u_random, 1e-9)
    slips = _slips(row.quantity, edges, float(np.median(step)))
    out = _out(row, x, np.hypot(u_random, u_shared), average, starts, over @ weights)
    labels = (*(f"band{i + 1}" for i in range(len(edges) - 1)), "over", "unsteady")
    return Bands(labels, tuple(edges), given, slips, out, tuple(at), ends)


def _banded(
    row: Row, ends: tuple[Array, Array, Array], at: Sequence[Node], count: int
) -> Array:
    """P(band) at these nodes, shape (forecasts, nodes, bands)"""
    p = _below(row, *ends, at)
    whole = [np.zeros_like(p[:, :, :1]), p]
    if p.shape[2] < count:  # no limit
        whole.append(np.repeat(row.mixture.finite()[:, None, None], len(at), axis=1))
    return np.clip(np.diff(np.concatenate(whole, axis=2), axis=2), 0.0, None)


def _with_rest(row: Row, banded: Array) -> Array:
    """The same with what is over range, and what does not settle."""
    over = np.clip(1.0 - row.mixture.unsteady[:, None] - banded.sum(axis=2), 0.0, 1.0)
    unsteady = np.repeat(row.mixture.unsteady[:, None], banded.shape[1], axis=1)
    return np.concatenate([banded, over[:, :, None], unsteady[:, :, None]], axis=2)


def _below(row: Row, x: Array, u_random: Array, u_shared: Array, at: Sequence[Node]) -> Array:
    """P(shown <= x), shape (forecasts, nodes, q)."""
    blur = np.sqrt(u_random**2 + WITHIN * u_shared**2)
    inner = float(np.sqrt(WITHIN)) * row.spread
    source = source_of(at) if row.mixture.follows else None
    places = np.transpose(source) if source is not None else np.zeros((len(at), 0))
    meter = [(n.gain, 1.0 + n.scale * row.spread) for n in at]
    each, back = np.unique(np.column_stack([meter, places]), axis=0, return_inverse=True)
    n, q = len(each), len(x)
    gain, scale, *stands = np.repeat(each, q, axis=0).T
    known = (stands[0], stands[1], stands[2], stands[3]) if stands else None
    found = row.mixture.cdf(np.tile(x, n) - gain * np.tile(u_shared, n), np.tile(blur, n), scale,
                            inner, known)  # fmt: skip
    return np.asarray(found.reshape(-1, n, q)[:, back.reshape(-1)])


def _readable(
    row: Row, meter: MeterSheet | None, at: Sequence[Node], edges: list[float], limit: float,
    cuts: Sequence[float], *, paper: bool,
) -> tuple[list[float], tuple[Array, Array, Array]]:  # fmt: skip
    """(inner edges as the display shows them, for paper round ones, but for the cuts; what is below
    them, and the limit, as values, u_random, u_shared)"""

    def u(x: Array) -> tuple[Array, Array]:
        if meter is not None:
            u_random, u_shared, _ = meter.u_at(row.quantity, x)
            return u_random, u_shared
        return 1e-3 * np.maximum(np.abs(x), 1e-3), np.zeros_like(x)

    def below(x: Array) -> Array:
        weights = np.array([n.weight for n in at])
        return np.asarray(np.einsum("dnq,n->dq", _below(row, x, *u(x), at), weights))

    found = round_edges(edges, below, lambda x: np.hypot(*u(x)), cuts) if paper else edges
    found = [e if e in cuts else first_count(meter, row.quantity, e) for e in found]
    half = [0.5 * count_at(meter, row.quantity, e) for e in found]  # what rounds to the edge is in
    ends = np.array(found) - half
    if np.isfinite(limit):
        ends = np.append(ends, limit)
    return found, (ends, *u(ends))


def _full(finite: Array, at_edges: Array, limit: float, x: Array) -> Array:
    """The distribution function at the end of the meter's range."""
    if np.isfinite(limit) and limit <= x[-1]:
        return at_edges[:, :, -1:]
    return np.repeat(finite[:, None, None], at_edges.shape[1], axis=1)


def _candidates(row: Row) -> Array:
    m = row.mixture
    if m.low.size == 0:
        return np.array([0.0])
    spread = m.sd + row.spread * 0.5 * np.abs(m.low + m.high)
    return np.unique(np.concatenate([m.low, m.high, m.low - spread, m.high + spread]))


def _grid(
    row: Row, meter: MeterSheet, cuts: Sequence[float] = ()
) -> tuple[Array, Array, Array, float]:
    """Cell edges around what may be read, with the meter's uncertainty there and its limit."""
    base = _candidates(row)
    u_random, u_shared, _ = meter.u_at(row.quantity, base)
    u = np.sqrt(np.hypot(u_random, u_shared) ** 2 + (row.spread * base) ** 2)
    around = [base + k * u for k in (-4, -2.5, -1.5, -1, -0.5, 0, 0.5, 1, 1.5, 2.5, 4)]
    x = np.unique(np.concatenate([*around, 0.5 * (base[:-1] + base[1:])]))
    x = _thinned(x, np.hypot(*meter.u_at(row.quantity, x)[:2]))
    limit = meter.ranges(row.quantity)[-1].full_scale  # the person picks the range that holds it
    x = np.union1d(x, cuts)
    x = np.concatenate([x[x < limit], [limit]])
    u_random, u_shared, _ = meter.u_at(row.quantity, x)
    return x, u_random, u_shared, limit


def _thinned(x: Array, u: Array) -> Array:
    """At most `MOST_CELLS` of the sorted points: neighbours within a fraction of the meter's
    uncertainty ``u`` (q,) say the same."""
    apart = np.concatenate([[0.0], np.cumsum(np.diff(x) / np.maximum(u[1:], 1e-12))])
    step = 0.3
    while True:
        _, first = np.unique(np.floor(apart / step), return_index=True)
        if len(first) <= MOST_CELLS:
            return np.asarray(x[np.union1d(first, [len(x) - 1])])
        step *= 1.5


def _exact_grid(row: Row, cuts: Sequence[float] = ()) -> tuple[Array, Array, Array, float]:
    base = _candidates(row)
    u = 1e-3 * np.maximum(np.abs(base), 1e-3)
    around = [base + k * u for k in (-4, -2, -1, 0, 1, 2, 4)]
    x = np.unique(np.concatenate([*around, 0.5 * (base[:-1] + base[1:])]))
    x = np.union1d(_thinned(x, 1e-3 * np.maximum(np.abs(x), 1e-3)), cuts)
    return x, 1e-3 * np.maximum(np.abs(x), 1e-3), np.zeros_like(x), np.inf


def _merge(average: Array, most: int, fixed: Sequence[int] = ()) -> NDArray[np.intp]:
    """First cells of the bands: cells with the same most probable forecast, then the pair of
    neighbours whose union loses least, until there are at most ``most``. A band begins at each of
    the cells ``fixed``."""
    best = average.argmax(axis=0)
    empty = average.max(axis=0) < 1e-12
    for c in range(1, len(best)):  # an empty cell joins its left neighbour
        if empty[c]:
            best[c] = best[c - 1]
    changes = [c for c in range(1, len(best)) if best[c] != best[c - 1]
               and all(abs(c - f) > BESIDE for f in fixed)]  # fmt: skip
    starts = sorted({0, *changes, *fixed})
    sums = np.stack([average[:, a:b].sum(axis=1) for a, b in _spans(starts, average.shape[1])], 1)
    while len(starts) > max(most, len(fixed) + 1):
        apart = sums.max(axis=0)
        losses = apart[:-1] + apart[1:] - (sums[:, :-1] + sums[:, 1:]).max(axis=0)
        losses[[c in fixed for c in starts[1:]]] = np.inf
        i = int(np.argmin(losses))
        sums[:, i] += sums[:, i + 1]
        sums = np.delete(sums, i + 1, axis=1)
        del starts[i + 1]
    kept = [0]  # a band that no forecast reaches says nothing: it joins the one before
    for i in range(1, len(starts)):
        if sums[:, i].max() > 1e-9 or starts[i] in fixed:
            kept.append(starts[i])
    return np.array(kept, dtype=np.intp)


def _spans(starts: Sequence[int], end: int) -> list[tuple[int, int]]:
    return list(zip(starts, [*starts[1:], end], strict=True))


def _slips(quantity: str, edges: Sequence[float], step: float) -> Array:
    bands = [anything_between(quantity, a, b, step) for a, b in pairwise(edges)]
    found = np.array([*bands, slip_over(quantity), SLIP_UNSTEADY])
    return np.asarray(found / found.sum())


def _out_yes_no(yes: Array) -> Array:
    return np.asarray(np.stack([yes, 1 - yes], axis=1) <= SHOWN_OUT, dtype=float)


def _out(
    row: Row, x: Array, u: Array, average: Array, starts: NDArray[np.intp], over: Array
) -> Array:
    """Share of each outcome's readings under which each forecast is shown out: of those that the
    likeliest cause gives, of another forecast where only one cause reads like this one. What
    several causes read alike shows none of them out."""
    middles = np.concatenate([[x[0] - u[0]], 0.5 * (x[:-1] + x[1:]), [x[-1] + u[-1]]])
    u_mid = np.concatenate([[u[0]], 0.5 * (u[:-1] + u[1:]), [u[-1]]])
    boxes = row.mixture.cdf_boxes(middles, u_mid, np.ones(len(middles)), row.spread)
    p = row.mixture.two_tails(boxes, 1 - boxes)  # forecasts, cells
    is_out = (p <= SHOWN_OUT).astype(float)
    found = np.zeros((row.mixture.size, len(starts) + 2))
    if row.mixture.size > 1:  # the largest of the others: the largest of all, or the one after it
        second, first = np.sort(average, axis=0)[-2:]
        own = average.argmax(axis=0) == np.arange(row.mixture.size)[:, None]
        alone = np.bincount(row.index, minlength=row.mixture.size) <= 1
        alone[row.good] = False  # so reads every cause that the test does not touch
        w = np.where(own & alone[:, None], second, first)
        mass = np.add.reduceat(w, starts, axis=1)
        shown = np.add.reduceat(w * is_out, starts, axis=1)
        found[:, :-2] = np.where(mass > 1e-12, shown / np.maximum(mass, 1e-300), 0.0)
    found[:, -2] = (over <= SHOWN_OUT).astype(float)
    found[:, -1] = (row.mixture.unsteady <= SHOWN_OUT).astype(float)
    return found


def outcome_table(table: Table, row: Row, bands: Bands, belief: Belief) -> tuple[Array, Array]:
    """P(outcome | hypothesis) given all evidence so far, slips in, and what shows whom out.

    Shapes (hypotheses, outcomes), the first summing to 1 along outcomes. The nuisance nodes and
    whether an intermittent fault shows in this visit are taken at their present belief. A test
    that was read in the latest visit shows the same again unless one of the two is a slip.
    """
    latest = max((g[0] for g in belief.showing), default=0)
    before = [w for w in belief.weighed if w.test == row.id and w.group[0] == latest]
    p, excludes = _fresh(table, row, bands, belief, latest)
    return again(row, bands, belief, before[0], p) if before else (p, excludes)


def again(row: Row, bands: Bands, belief: Belief, w: Weighed, fresh: Array) -> tuple[Array, Array]:
    """The same for a reading taken once more: it agrees, and then shows out what the first one did
    as firmly as two do, or it does not and shows nothing out."""
    place = bands.place(w.reading)
    slipped = (w.slipped / np.maximum(belief.p, 1e-300))[:, None]
    passing = row.slip * (1 - LASTING)
    same = np.eye(len(bands.labels))[place]
    p = (1 - slipped) * ((1 - passing) * same + passing * bands.anything)
    p = p + slipped * (LASTING * same + (1 - LASTING) * fresh)
    excludes = np.zeros(p.shape, dtype=bool)
    excludes[:, place] = w.extreme <= SHOWN_OUT
    excludes[[h.kind == "other" for h in belief.hypotheses]] = False
    return p / p.sum(axis=1, keepdims=True), excludes


def _fresh(
    table: Table, row: Row, bands: Bands, belief: Belief, latest: int
) -> tuple[Array, Array]:
    joint = belief.joint
    node = joint / np.maximum(joint.sum(axis=1, keepdims=True), 1e-300)
    per, given = node, bands.given
    if belief.nodes != bands.at:
        per, given = _at_nodes(row, bands, belief.nodes, node)
    showing = belief.showing.get((latest, row.circumstance))
    shows = table.shows_at(row.circumstance)
    if showing is not None:
        shows = np.asarray((node * showing).sum(axis=1))
    faulty = np.einsum("hn,hno->ho", per, given[row.index])
    healthy = np.einsum("hn,no->ho", per, given[row.good])
    jumpy = table.intermittent & (row.index != row.good)
    if row.quantity != "yes_no":
        faulty[jumpy] *= 1 - JUMPY
        faulty[jumpy, -1] += JUMPY
    p = shows[:, None] * faulty + (1 - shows)[:, None] * healthy
    p = (1 - row.slip) * p + row.slip * bands.anything
    other = table.other
    if not row.everyday:
        p[other] = bands.anything
    p /= p.sum(axis=1, keepdims=True)
    s = table.shows_at(row.circumstance)[:, None]
    out_faulty = bands.out[row.index] >= SURE_SHARE
    out_good = (bands.out[row.good] >= SURE_SHARE)[None, :]
    unsteady_jumps = np.zeros_like(out_faulty)
    if row.quantity != "yes_no":
        unsteady_jumps[jumpy, -1] = True
    faulty_out = out_faulty & ~unsteady_jumps
    excludes = np.where(s >= 1 - SHOWN_OUT, faulty_out, (s <= SHOWN_OUT) | faulty_out)
    excludes = np.where(s >= 1 - SHOWN_OUT, excludes, excludes & out_good)
    excludes[other] = False
    return p, excludes


def _at_nodes(
    row: Row, bands: Bands, at: Sequence[Node], node: Array
) -> tuple[Array, Array]:
    """(belief in nodes (hypotheses, n), P(band) at them (forecasts, n, outcomes)) when readings
    told of the source: the nodes ``at`` if this test follows it, else its own for the meter."""
    if row.mixture.follows and bands.ends is not None:
        return node, _with_rest(row, _banded(row, bands.ends, at, len(bands.edges) - 1))
    meter = [next(k for k, b in enumerate(bands.at) if b.gain == n.gain and b.scale == 0)
             for n in at]  # fmt: skip
    return node @ np.eye(len(bands.at))[meter], bands.given
