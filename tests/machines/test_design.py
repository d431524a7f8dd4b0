"""The few machines of the design stand for all: machines drawn at random read within their rows."""

from __future__ import annotations

import numpy as np
import pytest

from knowngood.circuit.probe import Climbing
from knowngood.machines import bench_model
from knowngood.machines.bench_model import Reading
from knowngood.machines.design import CORNERS, POINTS, Outcome, corner, crept, level, pieces_of
from knowngood.machines.parse import parse_machine
from knowngood.machines.scope import Scope
from knowngood.machines.shipped import load_shipped
from knowngood.machines.wiring import Asked, Wiring, mixed
from knowngood.measure.meter import load_shipped_meter

DRAWN = 60


def test_every_spread_takes_each_level_once() -> None:
    for column in range(-1, 60):
        levels = {round(level(row, column) * (POINTS - 1)) for row in range(POINTS)}
        assert levels == set(range(POINTS))


def test_corners_hold_every_mix_of_the_ends_of_two_ranges() -> None:
    for a, b in ((0, 1), (0, 2), (1, 2)):
        assert len({(corner(row, a), corner(row, b)) for row in CORNERS}) == 4


@pytest.mark.parametrize(
    ("values", "low", "high"),
    [
        ([1, 2, 3, 4, 5, 6, 7], 0.5, 7.6),  # one spread: a tenth, never below half the lowest
        ([7, 1, 4, 5, 2, 6, 3], 0.5, 8.2),  # many spreads: a fifth
        ([8, 11, 10, 14, 12, 13, 9], 6.8, 15.2),
        ([3.0] * 7, 3.0, 3.0),
        ([0, 1, 2, 3, 4, 5, 6], 0.0, 6.6),
    ],
)
def test_ranges_are_widened(values: list[Outcome], low: float, high: float) -> None:
    (piece,) = mixed(pieces_of(values, "ohms")).pieces
    ends = (piece.low, piece.low if piece.kind == "around" else piece.high)
    assert ends == pytest.approx((low, high), rel=1e-3)


@pytest.mark.parametrize(
    ("ohms", "written"),
    [
        (300.0, 300.0),  # the first range, on which nothing was filled before
        (24e3, 24e3 + 36e3 * 2.71828 ** (-60 / (24e3 * 470e-6))),  # RC 11 s: settled
        (500e3, 500e3 + 100e3 * 2.71828 ** (-60 / (500e3 * 470e-6))),  # RC 235 s: 577 kohm
        (2e6, 2e6 + 4e6 * 2.71828 ** (-60 / (2e6 * 470e-6))),  # RC 940 s: 5.75 Mohm
    ],
)
def test_ohms_across_a_capacitor_creep_down_from_the_end_of_the_range(
    ohms: float, written: float
) -> None:
    """470 uF on ranges of 600 ohm to 6 Mohm, read after a minute: a charged capacitor empties
    through the ohms by exp(-t / RC) (textbook), and begins where the range before left it."""
    shown = Climbing(0.0, 1 / 470e-6, ohms, "ohms")
    assert crept(shown, [600, 6e3, 60e3, 600e3, 6e6]) == pytest.approx(written, rel=1e-4)
    assert crept(1.0, [600]) == 1.0 and crept("OL", [600]) == "OL"


@pytest.mark.parametrize("name", ["rider-start-12v", "mower-battery-56v", "hedge-trimmer-36v"])
def test_machines_drawn_at_random_read_within_the_rows(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Good ones, in every row of volts and ohms: all but 1 % within the row, or beyond its end by
    what the meter errs (2.5 standard uncertainties)."""
    machine, problems = parse_machine(load_shipped(name), name)
    assert machine is not None, problems
    wiring = Wiring(machine, load_shipped_meter("generic-6000"))
    tests = [t for t in machine.tests if t.probe and t.probe.read in ("volts", "ohms")
             and len(t.probe.pairs) == 1]  # fmt: skip
    asked = [Asked(t.probe, wiring.conditions[t.condition]) for t in tests if t.probe]
    rows = wiring.good_rows(asked)
    readings = [Reading(a.condition.id, (), wiring.model.probes(a.probing)[0]) for a in asked]
    rng, drawn = np.random.default_rng(7), dict[tuple[int, int], float]()

    def anywhere(row: int, column: int) -> float:
        return drawn.setdefault((row, column), float(rng.random()))

    monkeypatch.setattr(bench_model, "level", anywhere)
    seen = Scope(wiring.model, readings).read(readings, range(DRAWN))
    outside = whole = 0
    for a, row, values in zip(asked, rows, seen, strict=True):
        if len(row.good.pieces) != 1 or row.good.pieces[0].kind in ("over", "unsteady"):
            continue
        (piece,) = row.good.pieces
        ends = (piece.low, piece.low if piece.kind == "around" else piece.high)
        doubt = 2.5 * wiring._doubt(a.probing.read, list(ends))
        for value in values:
            if isinstance(value, float):
                outside += not ends[0] - doubt <= value <= ends[1] + doubt
                whole += 1
    assert whole > 500
    assert outside / whole <= 0.01


def test_a_short_on_the_diode_range_is_what_a_meter_shows_of_it() -> None:
    """20 mohm at 1 mA are 20 uV; with leads and the meter's own counts 0 to 50 mV are shown (common
    practice). A junction stays as it is, and so do ohms."""
    few, short, junction = pieces_of([2e-5] * 3 + [0.42, 0.45, 0.48, 0.5], "diode")
    assert (short.kind, short.low, short.high) == ("between", 0.0, 0.05)
    assert (few.low, few.high) == (0.0, 0.005) and few.share == short.share
    assert few.share + short.share == pytest.approx(3 / 7)
    assert junction.low > 0.05 and junction.share == pytest.approx(4 / 7)
    (ohms,) = pieces_of([0.02] * 7, "ohms")
    assert ohms.kind == "around" and ohms.low == 0.02
