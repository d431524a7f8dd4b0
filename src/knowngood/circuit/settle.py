"""Cells to volts and amps once relays and modules agree with what they see.

Up to MOST_TRIED elements with a rule, all combinations are solved and exactly one must agree with
itself. Beyond that, the circuit is followed from all on and from all off, and where both end in the
same state, or in none, those that hang on each other are told by switching each alone (`groups`):
of every such group all combinations are tried, the others following.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from knowngood.circuit.circuit import CircuitError
from knowngood.circuit.frame import Bools, Frame, Ints, Laid
from knowngood.circuit.groups import Undecided, states_of
from knowngood.circuit.islands import ground, ideal_loops, stray_draws
from knowngood.circuit.laws import Floats
from knowngood.circuit.solver import Base, Method, Solved, base, solve_direct, solve_update

MOST_TRIED: Final = 12
_NONE: Final = "no consistent state"
_CHECK: Final = "check pull_in, alive_above, enable_above and what feeds them"
_ROUNDS: Final = 200
_AT_ONCE: Final = 4096


@dataclass(slots=True)
class Settled:
    """Volts and amps (cells, rows) at the rows asked; island labels (cells, nodes); state of each
    rule (cells, rules); cells without an answer; branches whose current is undecided."""

    volts: Floats
    amps: Floats
    labels: Ints
    on: Bools
    wrong: dict[int, CircuitError] = field(default_factory=dict)
    loose: dict[int, set[int]] = field(default_factory=dict)


@dataclass(slots=True)
class Engine:
    """How to solve the cells of one frame."""

    frame: Frame
    method: Method = "direct"
    start: Base | None = None

    def __post_init__(self) -> None:
        if self.method == "update":
            self.start = self._base()

    def _base(self) -> Base | None:
        """The healthy circuit with everything off and every source at nothing, so that a dead
        circuit is exactly dead; None if that has no inverse."""
        frame = self.frame
        rows = np.zeros((3, 1, frame.size))
        rows[:, 0, : len(frame.branches)] = frame.off.T
        cv, ci, rhs = rows
        ground(frame, cv, ci, rhs)
        if ideal_loops(frame, cv, ci, rhs)[0]:
            return None
        try:
            return base(frame, cv[0], ci[0])
        except np.linalg.LinAlgError:
            return None

    def solve(self, cv: Floats, ci: Floats, rhs: Floats, curved: Bools, rows: Ints) -> Solved:
        try:
            if self.start is None:
                return solve_direct(self.frame, cv, ci, rhs, curved, rows)
            got = solve_update(self.frame, self.start, cv, ci, rhs, curved, rows)
        except np.linalg.LinAlgError:
            return self._one_by_one(cv, ci, rhs, curved, rows)
        left = ~got.settled  # such as an open path, driven to a gigavolt through a diode's leak
        if left.any():
            more = self._one_by_one(cv[left], ci[left], rhs[left], curved[left], rows[left])
            got.volts[left], got.amps[left], got.settled[left] = more.volts, more.amps, more.settled
        return got

    def _one_by_one(self, cv: Floats, ci: Floats, rhs: Floats, curved: Bools, rows: Ints) -> Solved:
        shape = (len(rhs), rows.shape[-1])
        rows = np.broadcast_to(rows, shape)
        out = Solved(np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(len(rhs), dtype=bool))
        for i in range(len(rhs)):
            one = slice(i, i + 1)
            try:
                got = solve_direct(self.frame, cv[one], ci[one], rhs[one], curved[one], rows[one])
            except np.linalg.LinAlgError:
                continue
            out.volts[one], out.amps[one], out.settled[one] = got.volts, got.amps, got.settled
        return out


def settle(engine: Engine, laid: Laid, rows: Ints) -> Settled:
    """Solve the cells; `rows` (cells, r) or (r,) are those to report."""
    frame = engine.frame
    cells, rules = laid.held.shape
    rows = np.ascontiguousarray(np.broadcast_to(rows, (cells, rows.shape[-1])))
    out = Settled(
        np.full(rows.shape, np.nan),
        np.full(rows.shape, np.nan),
        np.zeros((cells, len(frame.nodes)), dtype=np.intp),
        np.zeros((cells, rules), dtype=bool),
    )
    tried = rules <= MOST_TRIED
    size = max(1, _AT_ONCE // (1 << rules if tried else 1))
    for begin in range(0, cells, size):
        part = np.arange(begin, min(begin + size, cells))
        if tried:
            _try_all(engine, laid, rows, part, out)
        else:
            _follow(engine, laid, rows, part, out)
    return out


@dataclass(slots=True)
class _Trial:
    """Solved rows of some cells in some state, and whether the rules agree with it."""

    volts: Floats
    amps: Floats
    labels: Ints
    agrees: Bools
    says: Bools
    wrong: dict[int, CircuitError]
    loose: dict[int, set[int]]


def _trial(engine: Engine, laid: Laid, cell: Ints, on: Bools, rows: Ints) -> _Trial:
    frame = engine.frame
    count = len(frame.branches)
    columns = np.empty((3, len(cell), frame.size))
    laws = laid.off[cell]
    if frame.rules:
        active: Bools = np.einsum("cr,rb->cb", on, frame.owned)
        laws = np.where(active[:, :, None], laid.on[cell], laws)
    columns[:, :, :count] = np.moveaxis(laws, -1, 0)
    cv, ci, rhs = columns
    labels = ground(frame, cv, ci, rhs)
    loops, loose = ideal_loops(frame, cv, ci, rhs)
    wrong = {i: CircuitError("contradictory", text) for i, text in loops.items()}
    for i in np.nonzero(stray_draws(frame, cv, rhs, labels))[0].tolist():
        text = "a module or meter draws amps that have no way back; check the wire to its minus pin"
        wrong.setdefault(i, CircuitError("contradictory", text))
    for i in wrong:  # solved as if all were open, then reported
        cv[i, :count], ci[i, :count], rhs[i, :count] = 0.0, 1.0, 0.0
        ground(frame, cv[i : i + 1], ci[i : i + 1], rhs[i : i + 1])
    senses, sense_rows = _sense_rows(frame)
    every = np.concatenate(
        [rows, np.broadcast_to(sense_rows, (len(cell), len(sense_rows)))], axis=1
    )
    curved = laid.curved[cell]
    if wrong:
        curved[list(wrong)] = False
    got = engine.solve(cv, ci, rhs, curved, every)
    for i in np.nonzero(~got.settled)[0].tolist():
        text = "no convergence: the diodes and lamps did not settle"
        names = ", ".join(frame.labels[k] for k in frame.curves.branch[:8])
        if names:
            text += f" ({names}); check their drop, volts and watts"
        wrong.setdefault(i, CircuitError("no convergence", text))
    r = rows.shape[1]
    says = _says(frame, senses, got.volts[:, r:], got.amps[:, r:], labels, laid.limits[cell])
    held = laid.held[cell]
    says = np.where(held >= 0, held == 1, says)
    agrees = (says == on).all(axis=1)
    agrees[list(wrong)] = False
    return _Trial(got.volts[:, :r], got.amps[:, :r], labels, agrees, says, wrong, loose)


def _sense_rows(frame: Frame) -> tuple[list[tuple[int, ...]], Ints]:
    """Where the rules look: a list of (rule, columns ...) and the rows of these columns."""
    rows: list[int] = []
    looks: list[tuple[int, ...]] = []
    for number, rule in enumerate(frame.rules):
        for sense in rule.senses:
            if sense.branch:
                rows.append(frame.branch_row(f"{frame.owners[number]}.{sense.branch}"))
                looks.append((number, len(rows) - 1))
            else:
                rows += [frame.node_row(sense.plus), frame.node_row(sense.minus)]
                looks.append((number, len(rows) - 2, len(rows) - 1))
    return looks, np.array(rows, dtype=np.intp)


def _says(
    frame: Frame,
    looks: list[tuple[int, ...]],
    volts: Floats,
    amps: Floats,
    labels: Ints,
    limits: Floats,
) -> Bools:
    """What each rule makes of what it sees."""
    says = np.ones((len(volts), len(frame.rules)), dtype=bool)
    senses = [sense for rule in frame.rules for sense in rule.senses]
    for (number, *columns), sense, limit in zip(looks, senses, limits.T, strict=True):
        if sense.branch:
            value = np.abs(amps[:, columns[0]])
        else:
            plus, minus = frame.nodes.index(sense.plus), frame.nodes.index(sense.minus)
            one = labels[:, plus] == labels[:, minus]
            value = np.where(one, volts[:, columns[0]] - volts[:, columns[1]], 0.0)
        edge = limit * (1 - 1e-9)
        says[:, number] &= value >= edge if sense.inclusive else value > limit
    return says


def _keep(out: Settled, cells: Ints, trial: _Trial, which: Ints, on: Bools) -> None:
    out.volts[cells], out.amps[cells] = trial.volts[which], trial.amps[which]
    out.labels[cells], out.on[cells] = trial.labels[which], on[which]
    for cell, i in zip(cells, which, strict=True):
        if int(i) in trial.loose:
            out.loose[int(cell)] = trial.loose[int(i)]


def _try_all(engine: Engine, laid: Laid, rows: Ints, part: Ints, out: Settled) -> None:
    rules = laid.held.shape[1]
    combos = (np.arange(1 << rules)[:, None] >> np.arange(rules)) & 1 == 1
    held = laid.held[part][:, None, :]
    fits = ((held < 0) | (held == combos[None])).all(axis=2)
    which, combo = np.nonzero(fits)
    cell, on = part[which], combos[combo]
    trial = _trial(engine, laid, cell, on, rows[cell])
    count = np.bincount(which[trial.agrees], minlength=len(part))
    good = np.nonzero(trial.agrees & (count[which] == 1))[0]
    _keep(out, cell[good], trial, good, on)
    for i in np.nonzero(count != 1)[0].tolist():
        tries = np.nonzero(which == i)[0]
        agreed = [on[t] for t in tries if trial.agrees[t]]
        faults = [trial.wrong[int(t)] for t in tries if int(t) in trial.wrong]
        out.wrong[int(part[i])] = _undecided(engine.frame, laid, int(part[i]), agreed, faults)


def _undecided(
    frame: Frame, laid: Laid, cell: int, agreed: list[Bools], faults: list[CircuitError]
) -> CircuitError:
    if len(agreed) > 1:
        differ = [len({bool(on[i]) for on in agreed}) > 1 for i in range(len(frame.owners))]
        names = ", ".join(n for n, d in zip(frame.owners, differ, strict=True) if d)
        text = (
            f"{len(agreed)} consistent states: {names} can be on or off; say which (pulled, alive)"
        )
        return CircuitError("states", text)
    free = [n for n, held in zip(frame.owners, laid.held[cell], strict=True) if held < 0]
    if faults and (len(faults) > 1 or not free):
        return faults[0]
    names = ", ".join(free)
    return CircuitError("states", f"{_NONE}: {names} switches itself off and on again; {_CHECK}")


def _follow(engine: Engine, laid: Laid, rows: Ints, part: Ints, out: Settled) -> None:
    """From all on, then from all off, until nothing changes."""
    ends: list[dict[int, Bools]] = []
    errors: dict[int, CircuitError] = {}
    for begin in (True, False):
        errors = {}
        held = laid.held[part]
        on = np.where(held >= 0, held == 1, begin)
        end: dict[int, Bools] = {}
        todo = np.arange(len(part))
        for _ in range(_ROUNDS):
            trial = _trial(engine, laid, part[todo], on[todo], rows[part[todo]])
            for i in np.nonzero(trial.agrees)[0].tolist():
                end[int(todo[i])] = on[todo[i]].copy()
            for i, error in trial.wrong.items():
                errors[int(part[todo[i]])] = error
            _keep(out, part[todo], trial, np.arange(len(todo)), on[todo])
            stay = ~trial.agrees
            stay[list(trial.wrong)] = False
            on[todo] = trial.says
            todo = todo[stay]
            if not len(todo):
                break
        ends.append(end)
    for i, cell in enumerate(part.tolist()):
        agreed = _all_states(engine, laid, cell, [e[i] for e in ends if i in e])
        if isinstance(agreed, CircuitError):
            out.wrong[cell] = errors.get(cell, agreed)
        elif len(agreed) != 1:
            undecided = _undecided(engine.frame, laid, cell, agreed, [])
            out.wrong[cell] = errors.get(cell, undecided)
        elif not np.array_equal(out.on[cell], agreed[0]):
            at = np.array([cell])
            trial = _trial(engine, laid, at, agreed[0][None], rows[at])
            _keep(out, at, trial, np.array([0]), agreed[0][None])


def _all_states(
    engine: Engine, laid: Laid, cell: int, ended: list[Bools]
) -> list[Bools] | CircuitError:
    """The states of a cell that agree with themselves: those in which it ended, else all that its
    groups have."""
    found = list({state.tobytes(): state for state in ended}.values())
    if len(found) > 1:
        return found
    bare = np.zeros((1, 0), dtype=np.intp)

    def says(on: Bools) -> tuple[Bools, Bools]:
        trial = _trial(engine, laid, np.full(len(on), cell), on, bare.repeat(len(on), axis=0))
        wrong = np.zeros(len(on), dtype=bool)
        wrong[list(trial.wrong)] = True
        return trial.says, wrong

    held = laid.held[cell]
    try:
        return states_of(says, held, found[0] if found else None, MOST_TRIED)
    except Undecided as group:
        names = ", ".join(engine.frame.owners[i] for i in group.members[:8])
        if group.tried:
            text = f"{_NONE}: {names} switches itself off and on again; {_CHECK}"
        else:
            count = len(group.members)
            names += " ..." if count > 8 else ""
            text = (
                f"{_NONE} was found: {count} relays and modules hang on each other ({names}), and "
                f"of more than {MOST_TRIED} not all states are tried; say which are on (pulled, "
                "alive)"
            )
        return CircuitError("states", text)
