"""How many lines are typed at the terminal from opening the job to "order part X".

The machine answers as its own file expects of the fault that is in it. The issue's bars are 10 when
the person calls the part, 18 when it is walked through; docs/decisions/entries-to-the-part.md tells
why some take more. The chosen sessions of test_bench hold them in every run.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.diagnosis.assess import Setup, assess
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.views import Assessment
from knowngood.places import gather
from knowngood.places.complaints import looks_left
from knowngood.places.library import find_complaint, find_machine, find_test
from tests.cli.test_bench import Bench
from tests.one_fault import OneFault

MACHINE = "mower-battery-56v"
CALLED, WALKED = 10, 18
LOOKS = 100  # a fixed number, so that the steps are the same on every machine
LIKELIEST = [  # of each part the fault that comes in most often, with its complaint
    ("pack", "pack_dead", "dead", CALLED, WALKED),
    ("charger", "charger_dead", "dead", CALLED, WALKED),
    ("terminal_block", "block_burnt", "starts_stops", CALLED, WALKED),
    ("fuse", "fuse_open", "dead", CALLED, WALKED),
    ("key_switch", "key_open", "dead", CALLED, WALKED),
    ("start_box", "bail_sw_open", "dead", CALLED, WALKED),
    ("bail_cable", "cable_slack", "dead", CALLED, WALKED),
    ("handle_switch", "handle_sw_open", "dead", CALLED, WALKED),
    ("handle_harness", "harness_break", "no_start_folded", 12, WALKED),
    ("controller", "ctrl_short", "dead", CALLED, WALKED),
    ("blade_motor", "motor_open", "dead", CALLED, 19),
    ("blade_set", "blade_bent", "vibrates", CALLED, WALKED),
    ("deck_clearing", "deck_packed", "dead", CALLED, WALKED),
]
OVER = [  # other faults of theirs that take more
    ("handle_harness", "harness_open", "dead", 13, WALKED),
    ("handle_harness", "harness_short", "dead", 13, WALKED),
    ("controller", "ctrl_dead", "dead", 18, 30),
    ("controller", "ctrl_driver", "starts_stops", 20, WALKED),
    ("controller", "ctrl_hot", "starts_stops", 17, WALKED),
    ("controller", "ctrl_capacitor", "starts_stops", 23, 25),
    ("blade_motor", "motor_hall", "dead", 13, 22),
    ("blade_motor", "motor_earthed", "dead", 20, 24),
]
OTHERS = [  # the rest of the faults that one part mends
    ("pack", "pack_weak", "starts_stops"), ("pack", "pack_cell", "starts_stops"),
    ("pack", "pack_data", "dead"), ("terminal_block", "block_open", "dead"),
    ("key_switch", "key_loose", "starts_stops"), ("start_box", "bail_sw_worn", "starts_stops"),
    ("start_box", "start_button_open", "dead"), ("start_box", "bail_sw_stuck", "dead"),
    ("handle_switch", "handle_sw_off_line", "no_start_folded"),
    ("blade_motor", "motor_turns", "starts_stops"), ("blade_motor", "motor_seized", "dead"),
    ("blade_set", "blade_loose", "vibrates"),
]  # fmt: skip
CASES = [*LIKELIEST, *OVER, *((*other, CALLED, WALKED) for other in OTHERS)]


@pytest.fixture(autouse=True)
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bench plans by a number of looks, not by the clock."""

    def planned(setup: Setup, evidence: Evidence, **_: object) -> Assessment:
        return assess(setup, evidence, deadline=None, max_expansions=LOOKS)

    monkeypatch.setattr(gather, "assess", planned)


def test_each_fault_that_one_part_mends_is_counted() -> None:
    machine = find_machine(MACHINE).it
    wanted = {(f.parts[0], f.id) for f in machine.faults if len(f.parts) == 1}
    assert sorted((part, fault) for part, fault, *_ in CASES) == sorted(wanted)
    assert {part for part, *_ in LIKELIEST} == {p.id for p in machine.parts}


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids=lambda c: c[1])
@pytest.mark.parametrize("calls", [True, False], ids=["called", "walked"])
def test_entries_to_the_part(
    case: tuple[str, str, str, int, int], calls: bool, tmp_path: Path
) -> None:
    part, fault, complaint, called, walked = case
    bench = Bench(tmp_path, MACHINE)
    said = entries(bench, fault, complaint, part if calls else "")
    print(f"{part}, {fault}, {complaint}, {'called' if calls else 'walked'}: {len(said)} {said}")
    assert bench.session.ask.key == "order"
    assert bench.session.opened.assessment.proof.parts == {part}
    assert any("Proven: order" in line for line in bench.said)
    assert len(said) <= (called if calls else walked)
    bench.record.log.close()


def entries(bench: Bench, fault: str, complaint: str, called: str) -> list[str]:
    """What is typed until the part is proven or nothing is left to ask, at most 60 lines."""
    typed: list[str] = []

    def enter(line: str) -> None:
        typed.append(line)
        bench.session.enter(line)

    machine = bench.session.machine
    assert machine is not None
    enter(find_complaint(machine.it, complaint).words)
    enter(str(1 + [c.id for c in bench.session.offered].index(complaint)))
    if called:
        enter(f"call {called}")
    one = OneFault(bench.session.opened.setup, fault)
    while (key := bench.session.ask.key) not in ("order", "end") and len(typed) < 60:
        enter(answer(bench, one, key))
    return typed


def answer(bench: Bench, one: OneFault, key: str) -> str:
    """To what is asked, as short as it is typed."""
    kind, _, test = key.partition(" ")
    if kind == "volts":  # on the capacitor, which is empty
        return "0.4 V"
    if kind == "told":
        return "nothing"
    if kind == "look":
        looks = enumerate(looks_left(bench.session.opened), start=1)
        return " ".join(str(n) for n, t in looks if one.shows(t)) or "none"
    assert kind in ("test", "agree"), key
    seen = one.typed(find_test(bench.session.opened.machine, test))
    return f"yes {seen}" if kind == "agree" else seen
