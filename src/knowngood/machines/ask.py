"""Any two points, on request: "I am on SP1 and B- anyway, what should I see?"

The answer is a test like any other, with a reading for each fault, so that what the meter says
counts. Its id says all there is to it: ``ask:volts:plug_live:SP1:B-``.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Final

from knowngood.circuit.probe import Read
from knowngood.machines.electric import Probing, Wires
from knowngood.machines.generate import dead_trouble, made_test, reachable, safe_read
from knowngood.machines.left_open import back_first
from knowngood.machines.machine import Condition, Machine, Test
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.reach import state_named, ways_to, why_not
from knowngood.machines.wiring import Asked, Wiring, with_row

ASK: Final = "ask"
READ: Final[tuple[Read, ...]] = ("volts", "ohms", "diode")


class AskError(ValueError):
    """What was asked cannot be measured; the message says why and what to do."""


def find_node(machine: Machine, name: str) -> str:
    """The node that a person names by its name or its words. Raises AskError."""
    wires = _wires(machine)
    if name in wires.circuit.nodes:
        return name
    wanted = " ".join(name.split()).casefold()
    for node in wires.circuit.nodes:
        words = wires.points[node].words.casefold() if node in wires.points else ""
        if wanted in (node.casefold(), words):
            return node
    known = [*wires.points, *(p.words for p in wires.points.values())]
    raise AskError(f"there is no point {name[:40]!r}. {did_you_mean(name, known)}")


def conditions_for(
    machine: Machine, red: str, black: str, opened: Collection[str] = ()
) -> list[Condition]:
    """The conditions in which two nodes can be read, the least to open or shut first; those with
    more taken off than the file says come later."""
    return [w.condition for w in ways_to(machine, _wiring(machine), red, black, opened)]


def asked_test(
    machine: Machine, red: str, black: str, read: str = "", condition: str = "",
    opened: Collection[str] = (), own: bool = False,
) -> Test:  # fmt: skip
    """The test of these two points with all its expected readings; if the machine has one that
    reads them in a state that is alike, that one, unless it is to be its ``own``. ``machine`` must
    be wired. Without ``condition`` the one that is nearest to what is open; without ``read`` volts
    where a source is on the points, else ohms. Raises AskError.
    """
    wiring = _wiring(machine)
    red, black = find_node(machine, red), find_node(machine, black)
    if red == black:
        raise AskError(f"both leads are on {red}. Move one of them")
    if read and read not in READ:
        raise AskError(f"no reading {read[:40]!r}. {did_you_mean(read, READ)}")
    place = _condition(machine, red, black, condition, opened)
    fitting = safe_read(wiring, place, red, black)
    if fitting is None and not dead_trouble(wiring, place, red, black):
        fitting = "ohms"
    chosen: Read = next((r for r in READ if r == read), fitting or "volts")
    if chosen != "volts" and (trouble := dead_trouble(wiring, place, red, black)):
        raise AskError(f"{chosen} in {place.id}: {trouble}")
    probing = Probing(chosen, ((red, black),))
    known = None if own else _known(machine, wiring, probing, place)
    if known is not None:
        return known
    return _made(machine, wiring, probing, place)


def _known(machine: Machine, wiring: Wiring, probing: Probing, place: Condition) -> Test | None:
    """The test of the machine that reads the same two points in a state that is alike: the same
    measurement, however it is named; one with the leads as asked goes before one with them the
    other way round. Raises AskError where that reads otherwise: volts, and ohms across a diode."""
    ((red, black),) = probing.pairs
    for test in sorted(machine.tests, key=lambda t: _turned(t, (red, black))):
        if test.probe is None or test.probe.read != probing.read or len(test.probe.pairs) != 1:
            continue
        state = state_named(machine, test.condition)
        if state is None or state.circumstance != place.circumstance:
            continue
        (pair,) = test.probe.pairs
        if set(pair) != {red, black} or (pair != (red, black) and probing.read == "diode"):
            continue
        wiring.learn(state)
        if wiring.model.like(state.id) != wiring.model.like(place.id):
            continue
        if pair != (red, black) and not _alike(wiring, place, probing, pair):
            raise AskError(f"that is {test.question!r} with the leads the other way round:"
                           f" points {pair[0]} {pair[1]}")
        return test
    return None


def _turned(test: Test, pair: tuple[str, str]) -> bool:
    """Whether a test does not read this pair with the leads as they are."""
    return test.probe is None or test.probe.pairs != (pair,)


def _alike(wiring: Wiring, place: Condition, probing: Probing, pair: tuple[str, str]) -> bool:
    """Whether the leads on this pair read the same as on the pair of ``probing``, turned round."""
    if probing.read == "volts":
        return False
    here, there = wiring.rows([Asked(p, place) for p in (probing, Probing(probing.read, (pair,)))])
    return here == there


def _made(machine: Machine, wiring: Wiring, probing: Probing, place: Condition) -> Test:
    """A test of its own for these points."""
    ((red, black),) = probing.pairs
    safe = (_safe(n) for n in (red, black))
    test = made_test(machine, place, probing, ":".join((ASK, probing.read, place.id, *safe)))
    (row,) = wiring.rows([Asked(probing, place)])
    if row.trouble:
        raise AskError(f"{test.question} in {place.id}: {row.trouble}")
    test = with_row(test, row, wiring.meter)
    back = back_first(machine, wiring.meter, [test], [place])
    return replace(test, back_first=back.get(test.id, ()))


def test_of(machine: Machine, id: str) -> Test | None:
    """The test that such an id names; None for any other id. Raises AskError."""
    parts = id.split(":")
    if parts[0] != ASK or len(parts) != 5:
        return None
    red, black = (p.replace("%3A", ":").replace("%25", "%") for p in parts[3:])
    return asked_test(machine, red, black, parts[1], parts[2], own=True)


def with_tests(machine: Machine, ids: Collection[str]) -> Machine:
    """The machine with the tests that were asked for by these ids. Raises AskError."""
    known = {t.id for t in machine.tests}
    for id in dict.fromkeys(ids):
        if id not in known and (test := test_of(machine, id)) is not None:
            machine = with_test(machine, test)
    return machine


def with_test(machine: Machine, test: Test) -> Machine:
    """The machine with this test, and with the state in which it is taken."""
    new = () if any(c.id == test.condition for c in machine.conditions) else (
        c for c in [state_named(machine, test.condition)] if c is not None)
    return replace(machine, tests=(*machine.tests, test), conditions=(*machine.conditions, *new))


def _condition(
    machine: Machine, red: str, black: str, wanted: str, opened: Collection[str]
) -> Condition:
    if wanted:
        found = state_named(machine, wanted)
        if found is None:
            raise AskError(f"there is no condition {wanted[:40]!r}."
                           f" {did_you_mean(wanted, [c.id for c in machine.conditions])}")
        points = reachable(machine, found)
        for node in (red, black):
            if node in _wires(machine).points and node not in points:
                raise AskError(f"{node} cannot be reached in {wanted}."
                               f" {_reached_in(machine, node)}")
        _wiring(machine).learn(found)
        return found
    able = conditions_for(machine, red, black, opened)
    if not able:
        raise AskError(f"no state has {red} and {black} bare at once: "
                       f"{why_not(machine, red, black)}. {_reached_in(machine, red)}")
    return able[0]


def _reached_in(machine: Machine, node: str) -> str:
    able = [c.id for c in machine.conditions if node in reachable(machine, c)]
    return f"{node} is reached in {', '.join(able[:4])}" if able else f"{node} is no test point"


def _wiring(machine: Machine) -> Wiring:
    if not isinstance(machine.wiring, Wiring):
        raise AskError(f"the file of {machine.id} has no circuit to ask. Only its own tests count")
    return machine.wiring


def _wires(machine: Machine) -> Wires:
    if machine.wires is None:
        raise AskError(f"the file of {machine.id} has no circuit to ask. Only its own tests count")
    return machine.wires


def _safe(node: str) -> str:
    return node.replace("%", "%25").replace(":", "%3A")
