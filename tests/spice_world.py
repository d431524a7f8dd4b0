"""Jobs on a bench that ngspice works: what the leads see comes from its solution of the wiring.

A job has one machine, drawn once: every value between good machines somewhere in its span, every
ohm of a fault somewhere in its range, one of the ways in which the fault comes. Our solver has no
part in what is read. The meter, its shared error, its noise and the slips are those of `World`; so
is what no lead reads (looks, drags, sounds) and what the file has written by hand.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from knowngood.circuit.probe import Probe
from knowngood.isolate.belief import Item
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.table import Row
from knowngood.machines.design import PATIENCE
from knowngood.machines.electric import Change
from knowngood.machines.machine import Machine, Test
from knowngood.machines.wiring import Way, Wiring, joined_ways, ways_of
from knowngood.measure.reading import Reading
from tests.machines.spice_network import CURVED, Network, settle
from tests.simulate import World

Seen = float | Literal["over", "unsteady"]


def value_in(span: Piece, where: float) -> float:
    """The value at a share of a span; a normal one by its distribution, cut at two deviations."""
    if span.kind == "around":
        return span.low + 2 * span.high * (2 * where - 1)
    if span.kind == "log":
        return float(span.low * (span.high / span.low) ** where)
    return span.low + (span.high - span.low) * where


@dataclass
class SpiceWorld(World):
    """``folder``: for ngspice's files; ``vt``: its kT/q. ``asked`` counts what it was asked to
    solve, ``unsolved`` what it found no answer to (then the table's own forecast is drawn)."""

    machine: Machine = field(kw_only=True)
    folder: Path = field(kw_only=True)
    vt: float = field(kw_only=True)
    asked: int = 0
    unsolved: int = 0
    _where: dict[object, float] = field(default_factory=dict)
    _seen: dict[object, Seen | None] = field(default_factory=dict)

    @property
    def wiring(self) -> Wiring:
        assert isinstance(self.machine.wiring, Wiring)
        return self.machine.wiring

    def readings(self) -> list[Item]:
        """All that was read so far, in order."""
        return list(self._read.values())

    def _shown(self, row: Row, forecast: Forecast, *rest: Any) -> Reading:
        """What the meter shows when nothing slips; ``rest`` begins with the visit, if at all."""
        test = next(t for t in self.machine.tests if t.id == row.id)
        visit = int(rest[0]) if rest else 0
        showing = self.shows(visit, row.circumstance)
        marks = self.table.hypotheses[self.truth].marks if showing else ()
        marks = tuple(m for m in marks if m not in self._undone)
        if test.probe is None or _by_hand(test, marks):
            return super()._shown(row, forecast, *rest)
        way = self._way(test, marks)
        true = self._true_of(test, way.changes)
        if way.unsteady and true != self._true_of(test, ()) and self.rng.random() < way.unsteady:
            return self._special(row, "unsteady")  # it jumps only where the fault is read at all
        if true is None:
            return super()._shown(row, forecast, *rest)
        if isinstance(true, str):
            return self._special(row, true)
        held = any(p.held for f in row.forecasts for p in f.pieces)  # its pack is drawn already
        return self._metered(row, true if held else true * (1 + self.scale * row.spread))

    def _true_of(self, test: Test, changes: tuple[Change, ...]) -> Seen | None:
        """What is there to be read, worked out once; to nine digits, so that what is the same in
        two networks is equal."""
        key = (test.id, changes)
        if key not in self._seen:
            seen = self._solved(test, changes)
            self._seen[key] = float(f"{seen:.9g}") if isinstance(seen, float) else seen
        return self._seen[key]

    def _drawn(self, *key: object) -> float:
        """A share of a span, drawn once a job."""
        if key not in self._where:
            self._where[key] = float(self.rng.random())
        return self._where[key]

    def _way(self, test: Test, marks: tuple[str, ...]) -> Way:
        """The way in which these faults came, as it is in the condition of this test."""
        condition = self.wiring.conditions[test.condition]
        each = []
        for mark in marks:
            left = self._drawn("way", mark)
            ways = ways_of(self.wiring.faults[mark], condition)
            for way in ways:
                left -= way.share
                if left <= 0 or way is ways[-1]:
                    each.append((way._replace(share=1.0),))
                    break
        (joined,) = joined_ways(each) if each else (Way(1.0, ()),)
        return joined

    def _network(self, test: Test, changes: tuple[Change, ...], probe: Probe) -> Network:
        wires = self.machine.wires
        assert wires is not None
        spans = {**wires.spreads, **self.wiring.conditions[test.condition].spreads}
        curved = {e.ref for e in wires.circuit.elements if e.KIND in CURVED}
        values = {k: value_in(s, self._drawn(k)) for k, s in spans.items()
                  if probe.read == "diode" or k.rpartition(".")[0] not in curved}  # fmt: skip
        faults: list[tuple[Change, float | None]] = []
        for change in changes:
            where = self._drawn("change", change)
            if change.value and change.span is not None:
                values[change.value] = value_in(change.span, where)
            else:
                faults.append((change, None if change.ohms is None else
                               value_in(change.ohms, where)))  # fmt: skip
        return Network(self.wiring.model, test.condition, changes, values, faults, probe)

    def _solved(self, test: Test, changes: tuple[Change, ...]) -> Seen | None:
        """What a person writes down; None where ngspice has no answer."""
        assert test.probe is not None
        probes = self.wiring.model.probes(test.probe)
        shown = self._read_all(test, changes, probes)
        model = self.wiring.model
        again = [model.with_meter(p, v) if isinstance(v, float) and p.read == "ohms" else p
                 for p, v in zip(probes, shown, strict=True)]  # fmt: skip
        if again != list(probes):  # the range that holds it pushes less
            shown = self._read_all(test, changes, tuple(again))
        self.asked += 1
        if "unsteady" in shown:
            return "unsteady"
        if any(v is None for v in shown):
            self.unsolved += 1
            return None
        seen = [self._written(test, changes, p, v)
                for p, v in zip(again, shown, strict=True) if isinstance(v, float)]  # fmt: skip
        return _picked(seen, test.probe.write)

    def _read_all(
        self, test: Test, changes: tuple[Change, ...], probes: tuple[Probe, ...]
    ) -> list[float | Literal["unsteady"] | None]:
        nets = [self._network(test, changes, p) for p in probes]
        found = settle(self.folder, nets, self.vt)
        limp = [n for n, s in zip(nets, found, strict=True) if n.probe.read == "ohms" and (
            not s or abs(n.shown(s)) * n.probe.test_current > n.probe.open_volts)]  # fmt: skip
        for net in limp:
            net.limp = True
        again = dict(zip(map(id, limp), settle(self.folder, limp, self.vt), strict=True))
        return [None if s is None else n.shown(s) if s else "unsteady"
                for n, s in ((n, again.get(id(n), s)) for n, s in zip(nets, found, strict=True))]

    def _written(
        self, test: Test, changes: tuple[Change, ...], probe: Probe, value: float
    ) -> Seen:
        """Over range, climbing too long to wait for, or a value: the meter's current charges the
        capacitor that lies across its leads."""
        if probe.read == "volts":
            return "over" if abs(value) > probe.ends else value
        if probe.read == "diode":
            return "over" if value > min(probe.ends, probe.open_volts) else value
        end = probe.open_volts / probe.test_current
        over = value > probe.ends
        model, condition = self.wiring.model, test.condition
        if any(
            model.has_capacitor(condition, n) for n in (probe.red, probe.black)
        ):
            elements = self._network(test, changes, probe).elements
            farads = sum(getattr(e, "farads", 0.0) for e in elements if e.plugged)
            if _across(self, test, changes, probe):
                if over and end * farads > PATIENCE:
                    return "unsteady"
                value = value if over else self._after_a_minute(value, farads)
        return "over" if over else value

    def _after_a_minute(self, ohms: float, farads: float) -> float:
        """What is written of ohms across a capacitor. A meter that ranges by itself fills it on its
        first range to where every range ends; on the range that holds the ohms it empties through
        them, exp(-t / RC), and after a minute a person writes what stands there."""
        ends = [r.full_scale for r in self.meter.ranges("ohms")]
        top = min((e for e in ends if e >= ohms), default=ohms)
        return ohms if top == ends[0] else ohms + (top - ohms) * math.exp(-60 / (ohms * farads))


def _across(world: SpiceWorld, test: Test, changes: tuple[Change, ...], probe: Probe) -> bool:
    """Whether the capacitor's own ends move when the meter pushes: it lies across the leads."""
    net = world._network(test, changes, probe)
    (seen,) = settle(world.folder, [net], world.vt)
    if not seen:
        return False
    caps = [e for e in net.elements if e.KIND == "capacitor" and e.plugged]
    volts = [abs(net.volts(seen, e.pins["a"]) - net.volts(seen, e.pins["b"])) for e in caps]
    whole = abs(net.volts(seen, probe.red) - net.volts(seen, probe.black))
    return any(v > 0.05 * whole for v in volts)


def _by_hand(test: Test, marks: tuple[str, ...]) -> bool:
    """Whether the file itself says what is read then."""
    if any(m in test.by_hand for m in marks):
        return True
    return "" in test.by_hand and not any(m in test.expect for m in marks)


def _picked(seen: list[Seen], write: str) -> Seen:
    if len(seen) == 1:
        return seen[0]
    if "unsteady" in seen:
        return "unsteady"
    sized: Mapping[int, float] = {
        i: float("inf") if s == "over" else abs(float(s)) for i, s in enumerate(seen)
    }
    if write == "spread":  # of pairs compared on one range
        sizes = sized.values()
        return "over" if math.inf in sizes else max(sizes) - min(sizes)
    best = (max if write == "highest" else min)(sized, key=lambda i: sized[i])
    return seen[best]
