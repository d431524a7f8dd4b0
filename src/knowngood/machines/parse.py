"""The text of a machine file to a Machine, with every problem and its line."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Final, TypeVar

from pydantic import ValidationError

from knowngood.isolate.forecast import Forecast
from knowngood.machines import schema
from knowngood.machines.electric import Wires
from knowngood.machines.electric_parse import ElectricReader
from knowngood.machines.forecast_text import ForecastError, parse_forecast
from knowngood.machines.form_words import Place, form_problems, stand_in
from knowngood.machines.form_words import line_of as line_of
from knowngood.machines.machine import (
    STAGES,
    Complaint,
    Condition,
    DoubleFault,
    Fastener,
    Fault,
    Limits,
    Machine,
    Nuisance,
    PartNumber,
    ReleaseCheck,
    RootCause,
    Secondary,
    ServicePart,
    TeardownStep,
    Test,
    Told,
)
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.safety import with_dependents
from knowngood.machines.tree import Tree, in_its_file
from knowngood.machines.variant import Bases, read_whole, shipped_base
from knowngood.measure.problem import Problem
from knowngood.measure.units import (
    DIMENSION_OF,
    EXAMPLE,
    Dimension,
    Quantity,
    UnitError,
    parse_as,
)

MOST_PROBLEMS: Final = 200
NO_SOURCE_FIX: Final = (
    "Write source: with the document and page, or common practice, or invented for the demo; one"
    " for the whole section goes under sources:"
)

T = TypeVar("T")


def parse_machine(text: str, name: str) -> tuple[Machine | None, list[Problem]]:
    """The machine of a file, or None and what is wrong with the file.

    ``name`` is the file's name as the problems show it. Only the form is judged here: ids that
    lead nowhere, safety and the like are for `check.read_machine`.
    """
    machine, problems = draft_machine(text, name)
    return (None if problems else machine), problems


def draft_machine(
    text: str, name: str, bases: Bases = shipped_base
) -> tuple[Machine | None, list[Problem]]:
    """The same, but with the machine as far as it could be read beside the problems, so that
    more of them can be found in one go. Forecasts that could not be read are empty."""
    tree = read_whole(text, name, bases)
    if tree.data is None and tree.problems:
        return None, tree.problems
    problems = list(tree.problems)
    if not isinstance(tree.data, dict):
        problems.append(Problem(name, 1, "the file is not a list of entries with names",
                                "Start with machine: and words:, one entry a line"))
        return None, problems
    try:
        spec = schema.MachineSpec.model_validate(tree.data)
    except ValidationError as error:
        problems += form_problems(error, tree, name)
        stands_in = stand_in(tree.data, error)
        if stands_in is None:
            return None, tidy(problems, name)
        spec = stands_in
    builder = _Builder(spec, tree, name, problems)
    machine = builder.machine(hashlib.sha256((text + tree.base).encode("utf-8", "replace"))
                              .hexdigest())
    return machine, tidy(problems, name)


def tidy(problems: list[Problem], name: str) -> list[Problem]:
    """By line, each once, and not without end; each with the file that its line is of."""
    found = sorted(dict.fromkeys(map(in_its_file, problems)),
                   key=lambda p: (p.file != name, p.line))
    if len(found) <= MOST_PROBLEMS:
        return found
    rest = len(found) - MOST_PROBLEMS
    last = Problem(name, 0, f"and {rest} problems more", "Mend these first")
    return [*found[:MOST_PROBLEMS], last]


class _Builder:
    """One pass from the form to the machine; what is wrong goes to `problems`."""

    def __init__(
        self, spec: schema.MachineSpec, tree: Tree, name: str, problems: list[Problem]
    ) -> None:
        self.spec, self.name, self.problems = spec, name, problems
        self.lines = dict(tree.lines)
        self.electric = ElectricReader(name, self.lines, problems)

    def machine(self, digest: str) -> Machine:
        spec = self.spec
        for section in spec.sources:
            if section not in schema.SOURCED:
                self._problem(("sources", section), f"sources.{section} is no section with numbers",
                              did_you_mean(section, schema.SOURCED, 20))
        if not spec.source:
            self._problem(("machine",), "the file's own numbers have no source", NO_SOURCE_FIX)
        if spec.numbers:  # those of a variant are with the parts by now
            self._problem(("numbers",), "numbers at the top belong to a variant (based_on)",
                          "Write them at the part: parts: {pack: {numbers: [{number: BW-4410}]}}")
        wires = self._wires()
        steps = {i: self._step(i, s) for i, s in spec.teardown.items()}
        return Machine(
            spec.machine, spec.words, spec.family, tuple(spec.makers), tuple(spec.models),
            self._number(("rated_volts",), spec.rated_volts, "voltage"),
            tuple(self._part(i, p) for i, p in spec.parts.items()),
            tuple(steps.values()),
            tuple(self._condition(i, c, steps) for i, c in spec.conditions.items()),
            tuple(self._fault(i, f) for i, f in spec.faults.items()),
            tuple(
                DoubleFault((d.faults[0], d.faults[1]), d.weight, self._source("doubles", n, d))
                for n, d in enumerate(spec.doubles)
            ),
            tuple(self._test(i, t) for i, t in spec.tests.items()),
            tuple(
                Complaint(i, c.words, self._split(("complaints", i, "given"), c.given), c.others,
                          c.no_fault, self._source("complaints", i, c), tuple(c.shown_by),
                          tuple(c.cannot))
                for i, c in spec.complaints.items()
            ),
            tuple(self._told(i, t) for i, t in spec.told.items()),
            tuple(
                RootCause(i, c.words, c.ask, c.mend, c.caution, self._source("causes", i, c),
                          tuple(c.read_by))
                for i, c in spec.causes.items()
            ),
            tuple(sorted(
                (ReleaseCheck(i, r.words, r.safety, r.caution, self._source("release", i, r),
                              r.stage)
                 for i, r in spec.release.items()),
                key=lambda check: STAGES.index(check.stage),
            )),
            tuple(self._nuisance(i, n) for i, n in spec.nuisances.items()),
            tuple(spec.cautions), tuple(spec.fixed_order), spec.other_weight,
            spec.no_fault_weight, spec.source or "", digest, self.lines,
            self._number(("full_volts",), spec.full_volts, "voltage"), wires,
        )  # fmt: skip

    def _wires(self) -> Wires | None:
        if self.spec.circuit is None:
            return None
        source = self.spec.circuit.source or self.spec.sources.get("circuit")
        if not source:
            self._problem(("circuit",), "circuit: its numbers have no source", NO_SOURCE_FIX)
        return self.electric.wires(self.spec.circuit, source or "")

    def _problem(self, place: Place, message: str, fix: str) -> None:
        self.problems.append(Problem(self.name, line_of(self.lines, place), message, fix))

    def _source(self, section: str, id: str | int, entry: schema.Spec) -> str:
        """The entry's own source, or that of its section."""
        own = getattr(entry, "source", None) or self.spec.sources.get(section)
        if not own:
            self._problem((section, id), f"{section}.{id}: its numbers have no source",
                          NO_SOURCE_FIX)
        return own or ""

    def _number(self, place: Place, text: str | None, dimension: Dimension) -> float | None:
        if text is None:
            return None
        try:
            return parse_as(text, dimension)
        except UnitError as error:
            where = ".".join(str(p) for p in place)
            self._problem(place, f"{where}: {error}",
                          f"Write it like {place[-1]}: {EXAMPLE[dimension]}")
            return None

    def _split(self, place: Place, entries: Mapping[str, T]) -> dict[str, T]:
        """ "a, b: x" is a: x and b: x, in the order written."""
        found: dict[str, T] = {}
        where = ".".join(str(p) for p in place)
        for key, value in entries.items():
            line = line_of(self.lines, (*place, key))
            for id in (part.strip() for part in key.split(",")):
                if not id:
                    self._problem((*place, key), f"{where}: an id is missing between two commas",
                                  "Take the extra comma out")
                elif id in found:
                    self._problem((*place, key), f"{where}: {id} is here twice",
                                  "Keep one of the two")
                else:
                    found[id] = value
                    self.lines.setdefault(f"{where}.{id}", line)
        return found

    def _part(self, id: str, p: schema.PartSpec) -> ServicePart:
        source = self._source("parts", id, p)
        out = [s for s, step in self.spec.teardown.items() if step.role == "source out"]
        if out and "needs" not in p.model_fields_set:
            self._problem(("parts", id), f"parts.{id} does not say what must be open to fit it",
                          f"Add needs: [{', '.join(out)}, ...]; needs: [] if it is no part of the"
                          " machine itself, such as a charger")
        numbers = tuple(
            PartNumber(n.number, tuple(n.models), n.serial_from, n.serial_to, tuple(n.supersedes),
                       n.source or source, n.read_at)
            for n in p.numbers
        )
        return ServicePart(id, p.words, tuple(p.contents), numbers, p.price, p.minutes, p.days,
                           p.returnable, p.bad_chance, tuple(p.needs), source, p.cells)

    def _step(self, id: str, s: schema.StepSpec) -> TeardownStep:
        fasteners = tuple(Fastener(f.count, f.drive, f.length, f.where) for f in s.fasteners)
        return TeardownStep(id, s.words, s.minutes, s.back_minutes, tuple(s.needs), fasteners,
                            tuple(s.traps), s.caution, self._source("teardown", id, s), s.role,
                            self.electric.states(("teardown", id, "states"), s.states), s.back,
                            tuple(s.pictures))

    def _condition(
        self, id: str, c: schema.ConditionSpec, steps: Mapping[str, TeardownStep]
    ) -> Condition:
        closed = with_dependents(steps, tuple(c.open), c.closed)
        volts = self._number(("conditions", id, "volts"), c.volts, "voltage")
        return Condition(id, c.words, tuple(c.open), closed, tuple(c.held), c.energised,
                         c.circumstance, c.caution, volts,
                         self.electric.states(("conditions", id, "states"), c.states),
                         self.electric.spreads(("conditions", id, "spreads"), c.spreads),
                         c.generate, tuple(c.does),
                         None if c.uses is None else tuple(c.uses))

    def _fault(self, id: str, f: schema.FaultSpec) -> Fault:
        leaves = self._split(("faults", id, "leaves"), f.leaves)
        return Fault(
            id, f.words, f.mode, tuple(f.parts), f.weight,
            tuple(Secondary(fault, chance) for fault, chance in leaves.items()),
            None if f.shows is None else {str(k): v for k, v in f.shows.items()},
            tuple(f.causes), self._source("faults", id, f),
            self.electric.changes(id, f.circuit),
        )  # fmt: skip

    def _test(self, id: str, t: schema.TestSpec) -> Test:
        place: Place = ("tests", id)
        source = self._source("tests", id, t)
        probe = None if t.probe is None else self.electric.probing(
            id, t.probe, len(t.compare))
        quantity = self._quantity(place, t)
        expect = {
            fault: self._forecast((*place, "expect", fault), text, quantity)
            for fault, text in self._split((*place, "expect"), t.expect).items()
        }
        by_hand = () if t.probe is None else (*(("",) if t.good else ()), *expect)
        if by_hand and not t.reason:
            self._problem(place, f"{id} has a probe and readings by hand without a reason",
                          "Add reason: why the wiring does not tell, or take good and expect out")
        good = Forecast() if t.good is None else self._forecast(
            (*place, "good"), t.good, quantity)
        return Test(
            id, t.words, t.question, quantity, t.condition, t.minutes, good, expect,
            t.red or self._point(t, 0), t.black or self._point(t, 1),
            self._limits(place, t, quantity, source), t.good_reads, t.grade, t.follows, t.slip,
            alters=t.alters, look=t.look, after=tuple(t.after), verifies=t.verifies,
            holds=tuple(t.holds), caution=t.caution, source=source, probe=probe,
            by_hand=by_hand, reason=t.reason, compare=self._compare(place, t, quantity),
            frequency=self._frequency(place, t, quantity), does=tuple(t.does), sees=tuple(t.sees),
            hazard=t.hazard or "", uses=None if t.uses is None else tuple(t.uses),
            everyday=self._everyday(place, t, quantity),
        )  # fmt: skip

    def _everyday(self, place: Place, t: schema.TestSpec, quantity: Quantity) -> float | None:
        if t.everyday is not None and (quantity != "yes_no" or not t.expect):
            self._problem((*place, "everyday"), "everyday: belongs to a yes/no test that finds a "
                          "fault", "Take everyday: out, or list the fault in expect:")
        return t.everyday

    def _compare(self, place: Place, t: schema.TestSpec, quantity: Quantity) -> tuple[str, ...]:
        """The names of the readings that are judged by their differences."""
        if t.compare and (len(set(t.compare)) < max(2, len(t.compare)) or quantity == "yes_no"):
            self._problem((*place, "compare"), "compare: names two or more readings of a meter",
                          "Write it like compare: [UV, VW, WU], each name once")
        return tuple(t.compare)

    def _frequency(self, place: Place, t: schema.TestSpec, quantity: Quantity) -> float | None:
        if t.frequency is not None and quantity != "ac_volts":
            self._problem((*place, "frequency"), f"frequency: belongs to ac_volts, not {quantity}",
                          "Take frequency: out, or write quantity: ac_volts")
        return self._number((*place, "frequency"), t.frequency, "frequency")

    def _quantity(self, place: Place, t: schema.TestSpec) -> Quantity:
        """As written, or that of the probe."""
        read: Quantity | None = None if t.probe is None else t.probe.read
        if t.quantity is None and read is None:
            where = ".".join(str(p) for p in place)
            self._problem(place, f"{where} has no quantity", "Add quantity: volts, or a probe:")
        elif read is not None and t.quantity not in (None, read):
            self._problem((*place, "quantity"), f"quantity is {t.quantity}, the probe reads {read}",
                          "Take quantity: out")
        elif t.good is None and read is None:
            where = ".".join(str(p) for p in place)
            self._problem(place, f"{where} has no good", "Add good: 50 V .. 58.8 V, or a probe:")
        return read or t.quantity or "volts"

    def _point(self, t: schema.TestSpec, lead: int) -> str:
        """Where a lead goes, in the words of the points."""
        if t.probe is None or self.spec.circuit is None:
            return ""
        pairs = t.probe.pairs or [[t.probe.red or "", t.probe.black or ""]]
        points = self.spec.circuit.points
        nodes = list(dict.fromkeys(pair[lead] for pair in pairs if len(pair) == 2))
        return ", then ".join(points[n].words if n in points else n for n in nodes if n)

    def _limits(
        self, place: Place, t: schema.TestSpec, quantity: Quantity, source: str
    ) -> Limits | None:
        if t.limits is None:
            return None
        place = (*place, "limits")
        if quantity == "yes_no":
            self._problem(place, "a yes/no test has no limits", "Take limits: out")
            return None
        dimension = DIMENSION_OF[quantity]
        low = self._number((*place, "low"), t.limits.low, dimension)
        high = self._number((*place, "high"), t.limits.high, dimension)
        if t.limits.low is None and t.limits.high is None:
            self._problem(place, "limits without low and high", "Write low:, high: or both")
        if low is not None and high is not None and low > high:
            self._problem(place, "low is above high", "Put the smaller value at low:")
        return Limits(low, high, t.limits.source or source)

    def _forecast(self, place: Place, text: str | list[str], quantity: Quantity) -> Forecast:
        try:
            return parse_forecast(text, quantity)
        except ForecastError as error:
            where = ".".join(str(p) for p in place)
            self._problem(place, f"{where}: {error}", error.fix)
            return Forecast()

    def _told(self, id: str, t: schema.ToldSpec) -> Told:
        self._source("told", id, t)
        return Told(id, t.words, self._split(("told", id, "given"), t.given), t.others)

    def _nuisance(self, id: str, n: schema.NuisanceSpec) -> Nuisance:
        self._source("nuisances", id, n)
        return Nuisance(id, n.words, n.spread)
