"""The circuit as numbers: one row a branch and one a node, and each cell as three columns.

Unknowns are x = (volts of each node, amps of each branch), n = nodes + branches. A row r sees two
sums of x: `phi[r] x`, volts (of a branch, or of a node against ground), and `psi[r] x`, amps
(through a branch, or all that leave a node). The equation of every row, whatever the fault, the
meter or the state, is

    cv[r] * phi[r] x - ci[r] * psi[r] x = rhs[r]

A node has (0, 1, 0): no amps are lost; the reference node of an island has (1, 0, 0): 0 V. So phi
and psi are the circuit's, and a cell is just cv, ci and rhs. Keeping the amps as unknowns (the
sparse tableau of Hachtel, Brayton and Gustavson 1971) keeps 5 mohm beside 10 Mohm exact.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, csr_array

from knowngood.circuit.circuit import Cell, Circuit, standing
from knowngood.circuit.element import Branch, Element, Law, Rule
from knowngood.circuit.faulted import Fault, changed, find, is_curved
from knowngood.circuit.laws import Curves, Filament, Floats, Junction, Ohm, Open, curves, row

Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

OPEN: Final = row(Open())


@dataclass(slots=True)
class Sparse:
    """The places where phi or psi is not zero, by columns (CSC), with both values there."""

    rows: NDArray[np.int32]
    starts: NDArray[np.int32]
    phi: Floats
    psi: Floats

    def matrix(self, cv: Floats, ci: Floats) -> csc_array:
        """cv * phi - ci * psi of one cell, rows (n,) each."""
        data = cv[self.rows] * self.phi - ci[self.rows] * self.psi
        return csc_array((data, self.rows, self.starts), shape=(len(cv), len(cv)))


@dataclass(slots=True)
class Frame:
    """A circuit with room for these leaks and meters. Branches: elements', leaks', meters'."""

    circuit: Circuit
    nodes: tuple[str, ...]
    labels: tuple[str, ...]  # "K1.coil" or "F1"; "" for leaks and meters
    branches: tuple[Branch, ...]
    a: Ints
    b: Ints
    p: Ints
    q: Ints
    phi: Floats
    psi: Floats
    sparse: Sparse
    leaving: csr_array  # (nodes, branches): psi of the nodes, without its zeros
    off: Floats  # (branches, 3), and `on` where a relay is pulled or a module alive
    on: Floats
    curves: Curves
    farads: Floats
    owners: tuple[str, ...]  # elements with a rule
    rules: tuple[Rule, ...]
    owned: Bools  # (rules, branches)
    first: dict[str, int]  # element -> its first branch
    leaks: dict[tuple[str, str], int]
    meters: dict[tuple[str, str], int]

    @property
    def size(self) -> int:
        return len(self.phi)

    def node_row(self, node: str) -> int:
        return len(self.branches) + self.nodes.index(node)

    def branch_row(self, label: str) -> int:
        return self.labels.index(label)


@dataclass(slots=True)
class Laid:
    """Cells as columns: rows of every branch (cells, branches, 3) off and on; which of the curved
    branches still are curved; capacitors; how each rule is held (-1 free, 0 off, 1 on);
    the limit of every sense, rule by rule (cells, senses)."""

    off: Floats
    on: Floats
    curved: Bools
    farads: Floats
    held: NDArray[np.int8]
    limits: Floats

    def take(self, which: Ints | Bools) -> Laid:
        return Laid(
            self.off[which],
            self.on[which],
            self.curved[which],
            self.farads[which],
            self.held[which],
            self.limits[which],
        )

    def set(self, cell: int | Ints | slice, branch: int | Ints, law: Law) -> None:
        """Give a branch of these cells another law, whatever the state."""
        self.off[cell, branch] = self.on[cell, branch] = row(law)


def frame(
    circuit: Circuit,
    leaks: Iterable[tuple[str, str]] = (),
    meters: Iterable[tuple[str, str]] = (),
) -> Frame:
    """Build phi, psi and the healthy rows. Leaks and meters start open."""
    branches: list[Branch] = []
    labels: list[str] = []
    first: dict[str, int] = {}
    ruled: list[tuple[Element, Rule]] = []
    for element in circuit.elements:
        first[element.ref] = len(branches)
        own = element.branches()
        branches += own
        labels += [f"{element.ref}.{b.name}" if b.name else element.ref for b in own]
        if rule := element.rule():
            ruled.append((element, rule))
    places: list[dict[tuple[str, str], int]] = []
    for pairs in (leaks, meters):
        place: dict[tuple[str, str], int] = {}
        for pair in pairs:
            if pair not in place:
                place[pair] = len(branches)
                branches.append(Branch("", *pair, Open()))
        places.append(place)
    names = dict.fromkeys(circuit.nodes)
    names |= dict.fromkeys(n for b in branches for n in (b.a, b.b))
    number = {name: i for i, name in enumerate(names)}
    ends = [(b.a, b.b, *(b.sense or (b.a, b.b))) for b in branches]
    flat = [[number[n] for n in end] for end in ends]
    a, b, p, q = np.array(flat, dtype=np.intp).reshape(-1, 4).T
    phi, psi = _sums(len(number), a, b, p, q)
    off = np.array([row(x.law) for x in branches]).reshape(-1, 3)
    on = np.array([row(x.law if x.on is None else x.on) for x in branches]).reshape(-1, 3)
    owned = np.zeros((len(ruled), len(branches)), dtype=bool)
    for i, (element, _) in enumerate(ruled):
        start = first[element.ref]
        owned[i, start : start + len(element.branches())] = True
    return Frame(
        circuit,
        tuple(number),
        tuple(labels) + ("",) * (len(branches) - len(labels)),
        tuple(branches),
        a,
        b,
        p,
        q,
        phi,
        psi,
        _sparse(phi, psi),
        csr_array(psi[len(branches) :, len(number) :]),
        off,
        on,
        curves(
            {i: x.law for i, x in enumerate(branches) if isinstance(x.law, Junction | Filament)}
        ),
        np.array([_farads(x.law) for x in branches]),
        tuple(element.ref for element, _ in ruled),
        tuple(rule for _, rule in ruled),
        owned,
        first,
        *places,
    )


def _sums(nodes: int, a: Ints, b: Ints, p: Ints, q: Ints) -> tuple[Floats, Floats]:
    count = len(a)
    phi, psi = np.zeros((2, nodes + count, nodes + count))
    each = np.arange(count)
    np.add.at(phi, (each, p), 1.0)
    np.add.at(phi, (each, q), -1.0)
    psi[each, nodes + each] = 1.0
    phi[count + np.arange(nodes), np.arange(nodes)] = 1.0
    np.add.at(psi, (count + a, nodes + each), 1.0)
    np.add.at(psi, (count + b, nodes + each), -1.0)
    return phi, psi


def _sparse(phi: Floats, psi: Floats) -> Sparse:
    columns, rows = np.nonzero((phi != 0).T | (psi != 0).T)
    starts = np.searchsorted(columns, np.arange(len(phi) + 1))
    phi, psi = phi[rows, columns], psi[rows, columns]
    return Sparse(rows.astype(np.int32), starts.astype(np.int32), phi, psi)


def lay(frame: Frame, cells: list[Cell]) -> Laid:
    """The cells in numbers, without their meters."""
    count = len(cells)
    held = np.array([-1 if r.forced is None else int(r.forced) for r in frame.rules], np.int8)
    laid = Laid(
        np.repeat(frame.off[None], count, axis=0),
        np.repeat(frame.on[None], count, axis=0),
        np.ones((count, len(frame.curves.branch)), dtype=bool),
        np.repeat(frame.farads[None], count, axis=0),
        np.repeat(held[None], count, axis=0),
        np.repeat(np.array([[s.limit for r in frame.rules for s in r.senses]]), count, axis=0),
    )
    for i, cell in enumerate(cells):
        _lay_cell(frame, laid, i, cell)
    return laid


def lay_over(frame: Frame, laid: Laid, cells: list[Cell]) -> None:
    """Put more on cells that are laid already (in place): faults, values, states. A cell must name
    again how the elements that it touches stand, and the connectors that are out."""
    for i, cell in enumerate(cells):
        _lay_cell(frame, laid, i, cell)


def _lay_cell(frame: Frame, laid: Laid, i: int, cell: Cell) -> None:
    stand = {e.ref: e for e in standing(frame.circuit, cell)} if cell.states or cell.values else {}
    for element in stand.values():
        for branch in element.branches():
            law, on = (branch.law, branch.on) if element.plugged else (Open(), None)
            _put(frame, laid, i, element.ref, branch.name, law, on)
        if rule := element.rule():
            place = frame.owners.index(element.ref)
            if rule.forced is not None:
                laid.held[i, place] = rule.forced
            before = sum(len(r.senses) for r in frame.rules[:place])
            limits = [sense.limit for sense in rule.senses]
            laid.limits[i, before : before + len(limits)] = limits
    for fault in cell.faults:
        found = find(fault.on, frame.circuit.by_ref)
        if found is None:
            continue
        element, part = found
        _put_fault(frame, laid, i, stand.get(element.ref, element), part, fault)


def _put_fault(frame: Frame, laid: Laid, i: int, element: Element, part: str, fault: Fault) -> None:
    change = changed(element, part, fault)
    if change.leak is not None:
        start, end, ohms = change.leak
        if start != end:
            laid.set(i, frame.leaks[start, end], Ohm(ohms))
        return
    if not element.plugged:
        return
    for name, (law, on) in change.laws.items():
        _put(frame, laid, i, element.ref, name, law, on)
    if change.forced is not None:
        laid.held[i, frame.owners.index(element.ref)] = change.forced


def _put(frame: Frame, laid: Laid, i: int, ref: str, name: str, law: Law, on: Law | None) -> None:
    k = frame.first[ref]
    while frame.branches[k].name != name:
        k += 1
    laid.off[i, k] = row(law)
    laid.on[i, k] = row(law if on is None else on)
    laid.farads[i, k] = _farads(law)
    if len(frame.curves.branch):
        laid.curved[i, frame.curves.branch == k] = is_curved(law)


def _farads(law: Law) -> float:
    return law.farads if isinstance(law, Open) else 0.0


def leak_of(circuit: Circuit, fault: Fault) -> tuple[str, str] | None:
    """The pair of nodes that a leak joins, for `frame`."""
    found = find(fault.on, circuit.by_ref) if fault.mode == "leak" else None
    leak = changed(*found, fault).leak if found else None
    return leak[:2] if leak and leak[0] != leak[1] else None
