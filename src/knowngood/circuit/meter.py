"""The readings of many cells: each meter put on its circuit, solved, and turned into a display."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from knowngood.circuit.frame import Bools, Frame, Ints, Laid
from knowngood.circuit.laws import Draw, Floats, Ohm
from knowngood.circuit.probe import (
    LEAST,
    LIVE,
    SEEN,
    STEP,
    VISIBLE,
    Climbing,
    NoReading,
    Probe,
    Shown,
)  # fmt: skip
from knowngood.circuit.settle import Engine, Settled, settle


@dataclass(slots=True)
class Dead:
    """The ohms and diode cells on their way: (cells,) each unless said."""

    probes: list[Probe]
    row: Ints  # the meter's branch
    on: Bools  # (cells, rules) as without the meter
    current: Floats
    most: Floats
    lead: Floats

    def take(self, which: Ints) -> Dead:
        probes = [self.probes[i] for i in which]
        return Dead(
            probes,
            self.row[which],
            self.on[which],
            self.current[which],
            self.most[which],
            self.lead[which],
        )


def take(engine: Engine, laid: Laid, probes: list[Probe]) -> list[Shown]:
    """What each cell's meter shows. `laid` has a cell for each probe, its meter still open."""
    shown: list[Shown] = [NoReading("not taken")] * len(probes)
    live = np.array([i for i, p in enumerate(probes) if p.read in ("volts", "amps")], dtype=np.intp)
    dead = np.array([i for i, p in enumerate(probes) if p.read in ("ohms", "diode")], dtype=np.intp)
    for which, kind in ((live, _live), (dead, _dead)):
        if len(which):
            got = kind(engine, laid.take(which), [probes[i] for i in which])
            for i, value in zip(which, got, strict=True):
                shown[i] = value
    return shown


def meter_row(frame: Frame, probe: Probe) -> int:
    """The branch whose amps the meter sees."""
    if not probe.through:
        return frame.meters[probe.red, probe.black]
    return frame.branch_row(probe.through)


def _live(engine: Engine, laid: Laid, probes: list[Probe]) -> list[Shown]:
    frame = engine.frame
    rows = np.array([meter_row(frame, p) for p in probes], dtype=np.intp)
    for i, (probe, k) in enumerate(zip(probes, rows, strict=True)):
        if not probe.through:
            laid.set(i, int(k), Ohm(probe.ohms + probe.lead_ohms))
        elif burden := probe.ohms + probe.lead_ohms:
            for laws in (laid.off, laid.on):
                laws[i, k] = _in_series(laws[i, k], burden)
    seen = settle(engine, laid, rows[:, None])
    out: list[Shown] = []
    for i, probe in enumerate(probes):
        amps = float(seen.amps[i, 0])
        value = amps * probe.ohms if probe.read == "volts" else amps
        if i in seen.wrong:
            out.append(NoReading(str(seen.wrong[i])))
        elif int(rows[i]) in seen.loose.get(i, ()):
            name = probe.through or "this meter"
            text = f"amps through {name} are undecided: it lies in a loop without ohms"
            out.append(NoReading(f"{text}; give its links ohms"))
        else:
            out.append("OL" if abs(value) > probe.ends else value + 0.0)
    return out


def _in_series(law: Floats, burden: float) -> Floats:
    """A row with more ohms; an open one stays open."""
    cv, ci, rhs = law
    if cv == 0:
        return law
    ohms = float(ci / cv) + burden
    return np.array([1.0, ohms, float(rhs / cv)]) / max(1.0, ohms)


def _dead(engine: Engine, laid: Laid, probes: list[Probe]) -> list[Shown]:
    """Blocked across a live source; else a current, and at its limit a voltage, is applied."""
    frame, count = engine.frame, len(probes)
    rows = np.array([meter_row(frame, p) for p in probes], dtype=np.intp)
    before = settle(engine, laid, rows[:, None])
    shown: list[Shown] = ["OL"] * count
    apart = _apart(frame, before, rows)
    for i in range(count):
        if i in before.wrong:
            shown[i] = NoReading(str(before.wrong[i]))
            continue
        volts = 0.0 if apart[i] else float(before.volts[i, 0])
        if abs(volts) > LIVE:
            place = f"{probes[i].red} and {probes[i].black}"
            text = f"{probes[i].read} across a live source: {volts:.4g} V between {place}"
            shown[i] = NoReading(f"{text}; take the pack out, wait, and prove it dead first")
    able = np.array([not isinstance(s, NoReading) for s in shown])
    if not able.any():
        return shown
    todo = np.nonzero(able)[0]
    group = [probes[i] for i in todo]
    state = Dead(
        group,
        rows[todo],
        before.on[todo],
        np.array([p.test_current for p in group]),
        np.array([p.open_volts for p in group]),
        np.array([p.lead_ohms for p in group]),
    )
    part = laid.take(todo)
    part.held = state.on.astype(np.int8)
    got = _at_rest(engine, part, state, apart[todo])
    if frame.farads.any():
        got = _climb(engine, part, state, got)
    for n, value in enumerate(got):
        shown[int(todo[n])] = value
    return shown


def _apart(frame: Frame, seen: Settled, rows: Ints) -> Bools:
    """Cells whose leads touch two islands."""
    each = np.arange(len(rows))
    apart: Bools = seen.labels[each, frame.a[rows]] != seen.labels[each, frame.b[rows]]
    return apart


def _pushed(engine: Engine, laid: Laid, state: Dead, which: Ints) -> tuple[Floats, Settled]:
    """Volts at the meter while it pushes its test current."""
    part = laid.take(which)
    for n, i in enumerate(which):
        part.set(n, int(state.row[i]), Draw(-float(state.current[i])))
    seen = settle(engine, part, state.row[which][:, None])
    return seen.volts[:, 0] + state.current[which] * state.lead[which], seen


def _at_rest(engine: Engine, laid: Laid, state: Dead, apart: Bools) -> list[Shown]:
    shown: list[Shown] = ["OL"] * len(apart)
    joined = np.nonzero(~apart)[0]
    if not len(joined):
        return shown
    volts, seen = _pushed(engine, laid, state, joined)
    limp: list[int] = []
    for n, i in enumerate(joined.tolist()):
        probe, value = state.probes[i], float(volts[n])
        if n in seen.wrong:
            shown[i] = NoReading(str(seen.wrong[n]))
        elif value > probe.open_volts:
            if probe.read == "ohms":
                limp.append(i)
        else:
            value = value / probe.test_current if probe.read == "ohms" else value
            shown[i] = "OL" if value > probe.ends else value
    if limp:
        part = laid.take(np.array(limp))
        for n, i in enumerate(limp):
            part.set(n, int(state.row[i]), Ohm(float(state.lead[i]), float(state.most[i])))
        seen = settle(engine, part, state.row[limp][:, None])
        for n, i in enumerate(limp):
            amps = -float(seen.amps[n, 0])
            if n in seen.wrong:
                shown[i] = NoReading(str(seen.wrong[n]))
            elif amps * state.probes[i].ends >= state.most[i]:
                shown[i] = float(state.most[i]) / amps
    return shown


def _climb(engine: Engine, laid: Laid, state: Dead, rest: list[Shown]) -> list[Shown]:
    """Two looks, STEP seconds apart, at empty capacitors taking the test current (backward Euler:
    a capacitor is STEP / C ohms in series with the volts it has)."""
    frame = engine.frame
    full = [i for i, s in enumerate(rest) if not isinstance(s, NoReading)]
    which = np.array([i for i in full if laid.farads[i].any()], dtype=np.intp)
    if not len(which):
        return rest
    part = laid.take(which)
    caps = np.argwhere(part.farads > 0)
    for cell, k in caps:
        part.set(int(cell), int(k), Ohm(STEP / part.farads[cell, k]))
    sub = state.take(which)
    joined = settle(engine, part, sub.row[:, None])
    near = np.nonzero(~_apart(frame, joined, sub.row))[0]
    if not len(near):
        return rest
    first = part.take(near)
    for n, i in enumerate(near.tolist()):
        first.set(n, int(sub.row[i]), Draw(-float(sub.current[i])))
    lead = sub.current[near] * sub.lead[near]
    columns = np.unique(caps[:, 1])
    rows = np.broadcast_to(columns, (len(near), len(columns)))
    one = settle(engine, first, np.concatenate([sub.row[near][:, None], rows], axis=1))
    for n, i in enumerate(near.tolist()):
        for c, k in enumerate(columns):
            if (farads := part.farads[i, k]) > 0:
                first.set(n, int(k), Ohm(STEP / farads, float(one.volts[n, 1 + c])))
    two = settle(engine, first, sub.row[near][:, None])
    for n, i in enumerate(near.tolist()):
        if n in one.wrong or n in two.wrong:
            continue
        start, then = float(one.volts[n, 0] + lead[n]), float(two.volts[n, 0] + lead[n])
        place = int(which[i])
        unknown = bool(np.isinf(part.farads[i]).any())
        rest[place] = _shown(sub.probes[i], start, (then - start) / STEP, rest[place], unknown)
    return rest


def _shown(probe: Probe, start: float, rate: float, rest: Shown, unknown: bool) -> Shown:
    """Climbing, if a person would see it climb; no reading where a capacitor without a value would
    move it."""
    settles = rest if isinstance(rest, float) else None
    scale = 1 / probe.test_current if probe.read == "ohms" else 1.0
    end = probe.open_volts if settles is None else min(settles / scale, probe.open_volts)
    if probe.read == "diode":
        end = min(end, probe.ends)
    seen = end - start >= max(SEEN * end, LEAST)
    if unknown and seen:
        return NoReading("a capacitor without farads moves the display; give it its farads")
    if not seen or rate <= 0 or (end - start) / rate < VISIBLE:
        return rest
    return Climbing(
        start * scale, rate * scale, settles, "ohms" if probe.read == "ohms" else "volts"
    )
