"""The capacitor at the terminal: nothing goes past its volts, and they can be taken back; a first
question that nothing live may go round. Small invented machine; the limit of 1 V is common
practice."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.diagnosis.steps import way_there
from knowngood.places import bench as at_bench
from knowngood.places.capacitor import read_capacitor, to_discharge
from knowngood.places.gather import look
from knowngood.places.library import find_test
from knowngood.places.plan import Leaf, plan_tree
from tests.cli.test_bench import INTRO, Bench
from tests.web.test_capacitor import with_capacitor

SUPPLY = """
  supply: {words: "the controller at a bench supply, the motor not connected", open: [plug],
    energised: true, volts: 12 V, caution: Current limit first}
"""
RAIL = """
  rail:
    words: Measure the small rail of the controller.
    question: small rail
    quantity: volts
    condition: supply
    minutes: 2
    after: [input_diode]
    good: 4.9 V .. 5.1 V
    expect: {controller_dead: 0 V .. 1 V}
    limits: {low: 4.8 V, high: 5.2 V, source: common practice}
    good_reads: about 5 V
    red: rail
    black: minus
"""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    file = with_capacitor(tmp_path)
    text = file.read_text(encoding="utf-8")
    dead = "and the controller unplugged\", open: [plug"
    assert text.count(dead) == 1
    text = text.replace(dead, f"{dead}, cap_safe")
    for room, more in (("\nfaults:\n", SUPPLY), ("  motor_ohms:\n", RAIL)):
        assert text.count(room) == 1
        before = "\n" if room.startswith("\n") else ""
        text = text.replace(room, f"{before}{more.strip(chr(10))}\n{room.removeprefix(before)}")
    file.write_text(text, encoding="utf-8")
    opened = Bench(tmp_path, str(file))
    opened.enter(INTRO)
    yield opened
    opened.record.log.close()


def off(bench: Bench) -> list[str]:
    return [s.step for s in bench.job.open_steps]


def test_nothing_comes_off_past_a_capacitor_that_was_not_measured(bench: Bench) -> None:
    said = bench.enter("open plug in tray 3")
    assert "first: Wait a minute" in said and bench.session.ask.key == "volts cap_safe"
    assert off(bench) == []
    assert "Not empty" in bench.enter("31 V") and off(bench) == []
    assert "open now: unplug the controller" in bench.enter("0.4 V")
    assert off(bench) == ["cover", "cap_safe", "plug"]
    assert bench.job.open_steps[-1].where == "tray 3"
    assert bench.job.open_steps[1].where == "volts on the capacitor: 0.4 V"


def test_measuring_it_is_a_step_of_its_own_with_its_volts(bench: Bench) -> None:
    bench.enter("open cover")
    assert off(bench) == ["cover"], "it needs no capacitor"
    bench.enter("open cap_safe")
    assert off(bench) == ["cover"] and bench.session.ask.key == "volts cap_safe"
    bench.enter("0.2")
    assert off(bench) == ["cover", "cap_safe"]
    assert not bench.session.ask.key.startswith("volts")
    assert "that is open already" in bench.enter("open cap_safe")


def test_volts_taken_back_are_asked_again(bench: Bench) -> None:
    bench.enter("do input_diode\n0.4 V")
    assert bench.session.ask.key == "test input_diode"
    assert "taken back: volts on the capacitor: 0.4 V" in bench.enter("undo")
    assert off(bench) == ["cover"]
    bench.enter("do input_diode")
    assert bench.session.ask.key == "volts cap_safe"
    assert "taken back: volts on the capacitor: 0.4 V" in bench.enter("undo")  # the note of it
    assert not [n for n in bench.job.notes if "capacitor" in n.text]


def test_a_later_reading_that_is_not_empty_counts(bench: Bench) -> None:
    bench.enter("do input_diode\n0.4 V")
    at = bench.session.at()
    view = read_capacitor(bench.record, bench.session.job_id, "cap_safe", "40 V", at)
    assert [s.step for s in view.job.open_steps] == ["cover"]
    wait = to_discharge(view, find_test(view.machine, "input_diode"))
    assert wait is not None and wait.id == "cap_safe"


def test_a_bench_supply_charges_it_again(bench: Bench) -> None:
    bench.enter("input_diode: 0.6\n0.4 V\nrail: 5.0")
    assert [r.test for r in bench.job.live_readings][-2:] == ["input_diode", "rail"]
    assert off(bench) == ["cover", "plug"]
    view = look(bench.record, bench.session.job_id)
    dead = to_discharge(view, find_test(view.machine, "motor_ohms"))
    assert dead is not None and dead.id == "cap_safe"
    assert to_discharge(view, find_test(view.machine, "rail")) is None, "still at the supply"
    bench.enter("do motor_ohms")
    assert bench.session.ask.key == "volts cap_safe"


def test_the_plan_ahead_knows_that_it_is_charged_again(bench: Bench) -> None:
    at, job = bench.session.at(), bench.session.job_id
    read_capacitor(bench.record, job, "cap_safe", "0.4 V", at)
    at_bench.take_reading(bench.record, job, "input_diode", "0.6", at)
    view = look(bench.record, job)
    tree = plan_tree(view.setup, view.evidence, most=200, deadline=None, max_expansions=400)
    supply = next(c for c in view.machine.conditions if c.id == "supply")
    seen = 0
    waiting: list[Leaf] = [tree.root]
    while waiting:
        leaf = waiting.pop()
        waiting += [b.leaf for b in leaf.then]
        if leaf.here == "supply":
            seen += 1
            assert "cap_safe" not in leaf.opened
            again = way_there(view.machine, supply, leaf.opened, leaf.here)
            assert "cap_safe" not in [s.id for s in again.off]
    assert seen


def test_no_run_is_asked_first_while_nothing_live_may_be(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "mower-battery-56v", "dead")
    bench.enter("no")  # the pack is sound
    first = bench.session.ask.key
    assert first.startswith("test ")
    verify = first.partition(" ")[2]
    bench.enter("input_ohms: 0.3 ohm\n0.4 V")
    assert bench.job.live_readings[-1].test == "input_ohms"
    assert verify in bench.session.opened.assessment.held_back
    assert bench.session.ask.key != first
    assert "is live" in bench.enter(f"do {verify}")
    bench.record.log.close()


def test_a_reading_that_waited_is_not_lost_without_a_word(bench: Bench) -> None:
    waits = "input_diode: 0.6"
    assert "waits for the capacitor" in bench.enter(waits)
    said = bench.enter("do motor_ohms")
    assert "! not kept: " in said and "0.6: it waited for the capacitor" in said
    bench.enter(waits)
    said = bench.enter(f"note the meter's lead was loose\nwithdraw {len(bench.job.readings)} no")
    assert said.count("not kept: ") == 1 and "0.6" in said
    bench.enter(waits)
    assert "not kept" not in bench.enter(waits), "the same once more waits as before"
    assert "0.5 waits" in (said := bench.enter("input_diode: 0.5")) and "0.6: it" in said
    assert "0.5, which waited" in bench.session.way_on()
    assert "not kept" not in bench.enter("0.4 V")
    assert bench.job.live_readings[-1].text == "0.5"
    assert "not kept" not in bench.enter("quit")
