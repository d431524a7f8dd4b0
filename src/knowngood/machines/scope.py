"""Many readings of one machine on the bench, solved together where they hang together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.frame import Laid, frame, lay, lay_over
from knowngood.circuit.meter import take
from knowngood.circuit.probe import Climbing, Shown
from knowngood.circuit.settle import Engine
from knowngood.machines.bench_model import BenchModel, Reading, leaks_in, ref_of
from knowngood.machines.design import crept


class _Part(NamedTuple):
    """Readings that share engines. ``exact``: diode tests, in which the spread of a junction
    counts; ``shut``: no transistor bridge conducts."""

    condition: str
    exact: bool
    islands: frozenset[int]
    shut: bool


class Scope:
    """The engines for a set of readings: one for what hangs together with the leads in a condition,
    and for diode tests one for each machine of the design."""

    def __init__(self, model: BenchModel, asked: Iterable[Reading]) -> None:
        self.model = model
        self._parts: dict[_Part, list[Reading]] = {}
        for a in dict.fromkeys(asked):
            self._parts.setdefault(self._part(a), []).append(a)
        self._bare = {key: model.near(key.condition, part, key.shut)
                      for key, part in self._parts.items()}  # fmt: skip
        self._engines: dict[tuple[_Part, int], Engine] = {}

    def _part(self, a: Reading) -> _Part:
        condition = self.model.like(a.condition)
        return _Part(condition, a.probe.read == "diode",
                     self.model.islands_of(condition, a.probe),
                     self.model.is_shut(condition, a.changes, a.probe))  # fmt: skip

    def read(self, asked: Sequence[Reading], rows: Iterable[int]) -> list[list[Shown]]:
        """What each shows in each of these machines: [asked][row]. All must be in the scope."""
        rows = tuple(rows)
        if not rows:
            return [[] for _ in asked]
        found: dict[Reading, list[Shown]] = {}
        plain = [a._replace(condition=self.model.like(a.condition)) for a in asked]
        groups: dict[_Part, list[Reading]] = {}
        for a in dict.fromkeys(plain):
            groups.setdefault(self._part(a), []).append(a)
        for key, part in groups.items():
            for a, shown in zip(part, self._read(key, part, rows), strict=True):
                found[a] = shown
        return [found[a] for a in plain]

    def _read(
        self, key: _Part, asked: Sequence[Reading], rows: tuple[int, ...]
    ) -> list[list[Shown]]:
        model, condition = self.model, key.condition
        cases = {changes: n for n, changes in enumerate(dict.fromkeys(a.changes for a in asked))}
        which = np.array([cases[a.changes] for a in asked], dtype=np.intp)
        bare = self._bare[key]
        found: list[list[Shown]] = [[] for _ in asked]
        for circuit, some in model.variants(condition, bare, rows) if key.exact else [(bare, rows)]:
            engine = self._engine(key, circuit, some[0] if circuit is not bare else -1)
            good = lay(engine.frame, [model.good_cell(circuit, condition, row) for row in some])
            laid = good.take(np.repeat(np.arange(len(some)), len(cases)))
            lay_over(engine.frame, laid, [
                model.change_cell(circuit, condition, changes, row)
                for row in some for changes in cases
            ])  # fmt: skip
            cells = np.concatenate([which + n * len(cases) for n in range(len(some))])
            shown = self._taken(engine, laid.take(cells), [a for _ in some for a in asked])
            for n in range(len(some)):
                for i in range(len(asked)):
                    found[i].append(shown[n * len(asked) + i])
        return found

    def _engine(self, key: _Part, circuit: Circuit, row: int) -> Engine:
        place = (key, row)
        if place not in self._engines:
            part = self._parts[key]
            meters = dict.fromkeys(
                (a.probe.red, a.probe.black) for a in part if not a.probe.through)
            changes = dict.fromkeys(c for a in part for c in a.changes)
            leaks = sorted(leaks_in(circuit, (c for c in changes if ref_of(circuit, c))))
            self._engines[place] = Engine(frame(circuit, leaks, meters), "update")
        return self._engines[place]

    def _taken(self, engine: Engine, laid: Laid, asked: Sequence[Reading]) -> list[Shown]:
        """Readings; an ohmmeter that ranges by itself pushes less where the ohms are more."""
        probes = [a.probe for a in asked]
        shown = take(engine, laid, probes)
        ranges = self.model.meter.ranges("ohms") if self.model.meter else ()
        if not ranges:
            return shown
        if len(engine.frame.curves.branch) or engine.frame.rules:
            again = [i for i, (p, s) in enumerate(zip(probes, shown, strict=True))
                     if p.read == "ohms" and _ohms(s) > ranges[0].full_scale]  # fmt: skip
            for i in again:
                probes[i] = self.model.with_meter(probes[i], _ohms(shown[i]))
            part = laid.take(np.array(again, dtype=np.intp))
            for i, value in zip(again, take(engine, part, [probes[i] for i in again]),
                                strict=True):  # fmt: skip
                shown[i] = value
        return [crept(s, [r.full_scale for r in ranges]) if p.read == "ohms" else s
                for p, s in zip(probes, shown, strict=True)]  # fmt: skip


def _ohms(shown: Shown) -> float:
    """The ohms that a range has to hold; 0 where there is nothing to hold."""
    if isinstance(shown, Climbing):
        return shown.settles or 0.0
    return np.inf if shown == "OL" else shown if isinstance(shown, float) else 0.0
