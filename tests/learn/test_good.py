"""Which readings of closed jobs count as known good."""

from __future__ import annotations

from knowngood.learn.good import good_readings
from knowngood.machines.machine import Machine
from tests.learn.conftest import closed, volts

OHMS = volts(0.4, quantity="ohms")


def found(machine: Machine, *jobs: object) -> list[tuple[str, str]]:
    readings, _ = good_readings(machine, jobs)  # type: ignore[arg-type]
    return [(r.job_name, r.test) for r in readings]


def test_a_test_that_the_bad_part_cannot_move_was_read_on_something_good(small: Machine) -> None:
    # The start box was bad: box_ohms sees it, pack_rest and motor_ohms do not.
    job = closed(1, {"pack_rest": volts(57.9), "box_ohms": OHMS, "motor_ohms": OHMS})
    assert found(small, job) == [("26-0001", "motor_ohms"), ("26-0001", "pack_rest")]


def test_what_a_reading_says_plays_no_role(small: Machine) -> None:
    # 31 V is far from good, and on a pack that was not the bad part: it counts, and is asked about
    # where the limits are made. Left out here it would make every limit too narrow.
    assert found(small, closed(1, {"pack_rest": volts(31.0)})) == [("26-0001", "pack_rest")]


def test_after_the_repair_every_test_was_read_on_a_good_machine(small: Machine) -> None:
    job = closed(1, {"box_ohms": OHMS}, after=True)
    assert found(small, job) == [("26-0001", "box_ohms")]


def test_left_out_with_the_reason(small: Machine) -> None:
    good = {"pack_rest": volts(57.9)}
    jobs = [
        closed(1, good, why_not="decided without proof"),
        closed(2, good, came_back="26-0009"),
        closed(3, good, bad="lamp"),
        closed(4, good, bad="harness", out=("harness broken at the fold",)),
        closed(5, good, machine="another-mower"),
        closed(6, good, bad="harness"),
    ]
    readings, left = good_readings(small, jobs)
    assert [r.job_name for r in readings] == ["26-0006"]
    assert [(one.job_name, one.why) for one in left] == [
        ("26-0001", "decided without proof"),
        ("26-0002", "it came back as 26-0009"),
        ("26-0003", "this machine file does not have the part lamp"),
        ("26-0004", "what was wrong comes and goes"),
    ]


def test_one_machine_counts_once_a_test(small: Machine) -> None:
    jobs = [
        closed(1, {"pack_rest": volts(57.9)}, serial="77-a"),
        closed(2, {"pack_rest": volts(58.1)}, serial="77 A"),
        closed(3, {"pack_rest": volts(58.3)}, serial="77-b"),
    ]
    readings, _ = good_readings(small, jobs)
    assert [(r.job_name, r.value) for r in readings] == [("26-0002", 58.1), ("26-0003", 58.3)]


def test_only_figures_of_the_tests_own_quantity(small: Machine) -> None:
    from knowngood.measure.reading import Reading

    over = Reading("over", "ohms", 6e7, None, "ohm", "OL")
    job = closed(1, {"motor_ohms": over, "pack_rest": OHMS, "gone": volts(3.0)})
    assert found(small, job) == []
