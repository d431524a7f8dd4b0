"""What is said of a reading does not speak against what it is weighed as."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import pytest

from knowngood.diagnosis.assess import Setup, assess, known_from, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.views import Judged
from knowngood.isolate.belief import Item
from knowngood.isolate.prices import Prices
from knowngood.isolate.taken import taken_from
from knowngood.machines.check import read_machine
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.machines.undone import still_told, undone_by
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.typed import read_text


@cache
def setup(name: str) -> Setup:
    machine, problems = parse_machine(load_shipped(name), name)
    assert machine is not None, problems
    return set_up(machine, "dead", load_shipped_meter("generic-6000"), Prices())


def judged(name: str, *readings: tuple[str, str]) -> Judged:
    """The last of these readings as judged."""
    at = setup(name)
    tests = {t.id: t for t in at.machine.tests}
    items = tuple(
        Item(str(n), test, read_text(text, tests[test].quantity, at.bench.meter))
        for n, (test, text) in enumerate(readings)
    )
    return known_from(at, Evidence(items)).judged[-1]


@pytest.mark.parametrize("volts", ["52.0 V", "52.6 V"])
def test_within_wide_limits_it_is_said_what_a_good_one_reads(volts: str) -> None:
    """Ten amps take 1 to 2.5 V from a sound pack of 57.5 V or more (90 to 240 mohm, arithmetic):
    at 52 V it is tired, though limits that allow for any pack and load end near there."""
    one = judged("mower-battery-56v", ("pack_load", volts))
    assert one.verdict == "can't tell"
    assert "a good machine reads 54." in one.sentence and "only Battery pack" in one.sentence
    assert "Cleared" not in one.sentence


@pytest.mark.parametrize("shown", ["0.020 V", "0.001 V", "0.000 V", "0.045 V"])
@pytest.mark.parametrize("name", ["mower-battery-56v", "chainsaw-56v", "hedge-trimmer-36v"])
def test_a_short_on_the_diode_range_may_show_some_millivolts(name: str, shown: str) -> None:
    """A milliampere through a shorted transistor, 0.1 to 0.5 ohm of leads and tips, and the few
    counts a meter adds of its own: 0 to 50 mV (common practice)."""
    one = judged(name, ("bridge_diode", shown))
    assert one.verdict == "bad" and "fits none" not in one.sentence and not one.slip
    assert "Controller" not in one.clears and len(one.clears) > 5


@pytest.mark.parametrize("name", ["mower-battery-56v", "chainsaw-56v", "string-trimmer-40v"])
@pytest.mark.parametrize("shown", ["0.43 V", "0.56 V"])
def test_body_diodes_differ_from_maker_to_maker(name: str, shown: str) -> None:
    """0.4 to 0.6 V at a milliampere is a whole body diode (common practice)."""
    assert judged(name, ("bridge_diode", shown)).verdict == "good"


@pytest.mark.parametrize("name", ["mower-battery-56v", "chainsaw-56v"])
@pytest.mark.parametrize("later", ["input_volts", "pack_rest"])
def test_a_pack_filled_by_the_shop_says_nothing_of_the_customers_charger(
    name: str, later: str
) -> None:
    """As it came in, a full pack clears the charger that filled it; after it was on the shop's
    charger it does not, at this reading or at any other."""
    assert "Charger" in judged(name, (later, "57.1 V")).clears
    filled = ("pack_charged", "57.9 V")
    assert "Charger" not in judged(name, filled).clears
    after = judged(name, filled, (later, "57.1 V"))
    assert after.verdict == "good" and "Charger" not in after.clears


def test_what_was_expected_of_a_reading_is_kept_with_it() -> None:
    """A dead charger lets one expect an empty pack; after a charge in the shop, a full one."""
    at = setup("mower-battery-56v")
    texts = (("pack_rest", "57.1 V"), ("pack_charged", "57.9 V"), ("pack_rest", "57.1 V"))
    meter = at.bench.meter
    items = [Item(str(n), t, read_text(v, "volts", meter)) for n, (t, v) in enumerate(texts)]
    first, _, last = known_from(at, Evidence(tuple(items))).belief.weighed
    dead = next(n for n, h in enumerate(at.bench.table.hypotheses) if h.id == "charger_dead")
    assert first.row.index[dead] != first.row.good
    assert last.row.index[dead] == last.row.good


BATTERY_TOOLS = [
    "blower-56v", "chainsaw-56v", "hedge-trimmer-36v", "mower-battery-56v", "string-trimmer-40v"
]  # fmt: skip


@pytest.mark.parametrize("name", BATTERY_TOOLS)
def test_a_full_pack_says_nothing_of_the_charger_and_the_charger_itself_still_does(
    name: str,
) -> None:
    """Charged in the shop the pack is full, whatever the customer's charger does: a rest reading
    moves nothing any more, a look at the charger all."""
    at = setup(name)
    meter, table = at.bench.meter, at.bench.table
    dead = next(n for n, h in enumerate(table.hypotheses) if h.id == "charger_dead")
    tests = {t.id: t for t in at.machine.tests}
    limits = tests["pack_charged"].limits
    assert limits is not None and limits.low is not None and limits.high is not None
    full = Item("0", "pack_charged",
                read_text(f"{(limits.low + limits.high) / 2:.1f} V", "volts", meter))  # fmt: skip

    def believed(*after: tuple[str, str]) -> float:
        more = [Item(str(n), t, read_text(v, tests[t].quantity, meter))
                for n, (t, v) in enumerate(after, 1)]  # fmt: skip
        return float(known_from(at, Evidence((full, *more))).belief.p[dead])

    before = believed()
    assert believed(("charger_check", "no")) > 0.85 > 3 * before
    assert believed(("charger_check", "yes")) < before / 20
    for row in (table.rows["pack_rest"], table.rows["charger_check"]):
        after = table.without(row, table.undoes["pack_charged"])
        assert (after.index[dead] == row.good) == (row.id == "pack_rest")


def test_readings_of_the_charger_before_and_after_the_charge_are_of_one_thing() -> None:
    at = setup("chainsaw-56v")
    meter = at.bench.meter
    texts = (("charger_check", "no"), ("pack_charged", "58.2 V"), ("charger_check", "no"),
             ("pack_rest", "58.1 V"))  # fmt: skip
    tests = {t.id: t for t in at.machine.tests}
    items = [Item(str(n), t, read_text(v, tests[t].quantity, meter))
             for n, (t, v) in enumerate(texts)]  # fmt: skip
    taken, undone = taken_from(at.bench.table, items)
    assert undone == {"charger_dead"}
    assert {t.row.id: (len(t.items), t.undone) for t in taken} == {
        "charger_check": (2, frozenset()), "pack_charged": (1, undone), "pack_rest": (1, undone),
    }  # fmt: skip


def test_a_charged_battery_clears_no_flat_one_whatever_is_said_to_be_used() -> None:
    """Where the file does not say what the charge was done to, it was done to the battery."""
    text = """
words: Rider of a shop
based_on: rider-start-12v
tests:
  rest_volts: {uses: [battery_charge]}
"""
    machine, problems = read_machine(text, "rider-own")
    assert machine is not None, problems
    undoes = undone_by(machine)
    assert undoes["charged_volts"] == {"battery_flat"}
    assert not still_told(machine, undoes)

    def told(charged: str) -> Mapping[str, frozenset[str]]:
        said = tuple(replace(c, uses=(charged,)) if c.id in ("charged", "bat_loaded") else c
                     for c in machine.conditions)  # fmt: skip
        return still_told(replace(machine, conditions=said), undoes)

    assert told("battery") == {"rest_volts": {"battery_flat"}}
    assert not told("battery_charge")


def test_the_charger_is_looked_at_after_the_pack_was_charged_in_the_shop() -> None:
    """What no reading was expected to tell any more was never the next step, and the machine went
    back with nothing found."""
    at = setup("chainsaw-56v")
    meter, tests = at.bench.meter, {t.id: t for t in at.machine.tests}
    shown = [("pull_chain", "yes"), ("lock_off_feel", "yes"), ("input_ohms", "5.0 kohm"),
             ("pack_charged", "58.2 V"), ("guard_click", "yes"), ("pack_swap", "yes"),
             ("shake_run", "yes")]  # fmt: skip
    items = tuple(Item(str(n), t, read_text(v, tests[t].quantity, meter))
                  for n, (t, v) in enumerate(shown))  # fmt: skip
    view = assess(at, Evidence(items), deadline=None, max_expansions=30)
    assert view.next is not None and view.next.id == "charger_check", view.steps[:3]


def test_a_running_engine_fills_no_flat_battery_and_a_charge_does() -> None:
    """A few minutes at charging volts put next to nothing into it (common practice)."""
    machine, problems = parse_machine(load_shipped("rider-start-12v"), "rider-start-12v")
    assert machine is not None, problems
    assert set(undone_by(machine)) == {"charged_volts", "load_volts"}


def test_what_only_the_pack_speaks_against_is_said_by_the_pack() -> None:
    """51.6 V is within 47 to 59 V: odd it is behind a pack that was read a minute before."""
    one = judged("mower-battery-56v", ("pack_rest", "52.6 V"), ("input_volts", "51.6 V"))
    assert one.verdict == "can't tell"
    assert "with pack volts at rest at 52.6 V a good machine hardly reads so" in one.sentence
    assert "46.99" not in one.sentence and "only Controller" in one.sentence
