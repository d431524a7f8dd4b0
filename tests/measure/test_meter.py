"""Meter sheets: files, ranges, budgets, differences."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.measure.difference import compare
from knowngood.measure.meter import (
    MeterSheet,
    budget_table,
    load_shipped_meter,
    parse_meter,
    shipped_meters,
)
from knowngood.measure.sheet import MeterRange
from knowngood.measure.typed import read_text
from knowngood.measure.units import Quantity

GOOD = load_shipped_meter("generic-6000")
CHEAP = load_shipped_meter("generic-2000")
SHEETS = st.sampled_from([GOOD, CHEAP])


def test_both_shipped_sheets_are_sound_and_say_they_are_invented() -> None:
    assert shipped_meters() == ("generic-2000", "generic-6000")
    assert GOOD.source == CHEAP.source == "invented for the demo"
    assert GOOD.true_rms and not CHEAP.true_rms
    assert hash(GOOD) != hash(CHEAP)
    with pytest.raises(ValueError, match="there are generic-2000, generic-6000"):
        load_shipped_meter("golden")


def test_every_mistake_in_a_sheet_is_listed_at_its_line() -> None:
    sheet, problems = parse_meter(
        """\
name: bench meter
true_rms: maybe
leads: 0.2 V
functions:
  volts:
    - {full_scale: 6, resolution: 0.001 V, pct: 0.5, counts: 3}
    - nonsense
  ohms:
    - {full_scale: 600 ohm, resolution: 0.1 ohm, pct: 90, counts: 2, colour: red}
  amps:
    - {full_scale: 10 A, resolution: 0.01 A, pct: 1, counts: 2}
    - {full_scale: 1 A, resolution: 0.001 A, pct: 1, counts: 2}
  ohm: []
bad: 1
""",
        "mine.yaml",
    )
    assert sheet is None
    assert {(p.line, p.message.split(":")[0].split(" will")[0]) for p in problems} == {
        (1, "source"),
        (2, "true_rms"),
        (3, "leads"),
        (6, "full_scale"),
        (7, "a range must be keys and values"),
        (9, "no key 'colour' in a range"),
        (9, "pct"),
        (10, "the ranges of amps are not in order"),
        (13, "no function 'ohm'"),
        (14, "no key 'bad' in a meter sheet"),
    }
    assert all(p.fix and p.file == "mine.yaml" for p in problems)
    assert str(next(p for p in problems if p.line == 3)).startswith(
        "mine.yaml, line 3: leads: '0.2"
    )


@pytest.mark.parametrize(
    ("old", "new", "fix"),
    [
        ("source:", "inputt: 10 Mohm\nsource:", "Did you mean input?"),
        ("source:", "Leads: 0.2 ohm\nsource:", "Did you mean leads?"),
        ("source:", "xyzzy: 1\nsource:", "Use ac_bandwidth, "),
        ("  volts:", "  volt:", "Did you mean volts?"),
        ("pct: 1", "pctt: 1", "Did you mean pct?"),
    ],
)
def test_an_unknown_name_is_told_with_the_nearest(old: str, new: str, fix: str) -> None:
    text = (
        "name: m\nsource: booklet\nfunctions:\n  volts:\n"
        "    - {full_scale: 6 V, resolution: 0.001 V, pct: 1, counts: 2}\n"
    )
    assert parse_meter(text, "m.yaml")[1] == []
    problems = parse_meter(text.replace(old, new, 1), "m.yaml")[1]
    assert any(p.message.startswith(f"no {'function' if old == '  volts:' else 'key'} ")
               and p.fix.startswith(fix) for p in problems), problems  # fmt: skip


@pytest.mark.parametrize(
    "text", ["", "[", "a: *b", "a: 1\na: 2", "[" * 3000, "- 1", "\x00", "<<: 3", "!!set {a}"]
)
def test_text_that_is_no_sheet_is_one_problem(text: str) -> None:
    sheet, problems = parse_meter(text, "f.yaml")
    assert sheet is None and len(problems) == 1


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet="namefuctios:-{}[]&*!\n 0.5V#'\"|>?,", max_size=80))
def test_no_text_breaks_the_sheet_reader(text: str) -> None:
    sheet, problems = parse_meter(text, "f.yaml")
    assert (sheet is None) == bool(problems)


def test_the_range_is_the_smallest_that_holds_the_value() -> None:
    assert [GOOD.range_for("volts", v).name for v in (0.5, 0.7, 6.0, 12.4, 84, 900)] == [  # type: ignore[union-attr]
        "600 mV", "6 V", "6 V", "60 V", "600 V", "1 kV",
    ]  # fmt: skip
    assert GOOD.range_for("volts", 2000) is None
    assert GOOD.range_for("rpm", 1) is None


@pytest.mark.parametrize("shown", [("12.0 V", "12.1 V"), ("54.0 V", "54.1 V"), ("59.0", "59.1")])
def test_a_zero_at_the_end_moves_no_reading_to_a_larger_range(shown: tuple[str, str]) -> None:
    """On a meter that finds its range by itself 12.0 is 12.00 said short, as 12.1 is 12.10."""
    one, two = (read_text(text, "volts", GOOD) for text in shown)
    assert one.range_name == two.range_name == "60 V"
    assert one.u == pytest.approx(two.u, rel=0.01)


def test_at_the_change_of_ranges_the_places_tell_which_it_was() -> None:
    names = [read_text(text, "volts", GOOD).range_name for text in ("6.00 V", "5.999 V", "5.90 V")]
    assert names == ["60 V", "6 V", "6 V"]
    assert read_text("12.0 V", "volts", CHEAP).range_name == "200 V"  # set by hand


def test_asking_for_what_the_meter_lacks_names_what_it_has() -> None:
    with pytest.raises(ValueError, match="no function rpm; it has volts"):
        GOOD.budget("rpm", 1200)
    with pytest.raises(ValueError, match="no volts range '7 V'; it has 600 mV, 6 V"):
        GOOD.budget("volts", 3, "7 V")
    with pytest.raises(ValueError, match="ends at 1 kV for volts; got 2 kV"):
        GOOD.budget("volts", 2000)
    with pytest.raises(ValueError, match="no function rpm"):
        GOOD.u_at("rpm", [1.0])


@settings(deadline=None)
@given(SHEETS, st.sampled_from(["volts", "ac_volts", "ohms", "diode", "amps"]), st.floats(0, 1))
def test_the_vector_form_agrees_with_the_budget(
    sheet: MeterSheet, quantity: Quantity, share: float
) -> None:
    value = share * sheet.ranges(quantity)[-1].full_scale
    random, shared, full = sheet.u_at(quantity, [value, -value])
    budget = sheet.budget(quantity, value)
    assert random == pytest.approx(budget.u_random, rel=1e-12)
    assert shared == pytest.approx(budget.u_shared, rel=1e-12)
    assert full == pytest.approx(budget.full_scale)


def test_the_vector_form_keeps_the_shape() -> None:
    random, shared, full = GOOD.u_at("ohms", np.ones((3, 4)))
    assert random.shape == shared.shape == full.shape == (3, 4)


@settings(deadline=None)
@given(SHEETS, st.sampled_from(["volts", "ohms", "amps"]), st.floats(0, 1), st.floats(0, 1))
def test_doubt_grows_with_the_value_inside_a_range(
    sheet: MeterSheet, quantity: Quantity, a: float, b: float
) -> None:
    chosen = sheet.ranges(quantity)[-1]
    low, high = sorted((a * chosen.full_scale, b * chosen.full_scale))
    assert sheet.budget(quantity, low, chosen.name).u <= sheet.budget(quantity, high, chosen.name).u


@settings(deadline=None)
@given(SHEETS, st.floats(0.001, 1))
def test_doubt_never_falls_when_a_larger_range_is_used(sheet: MeterSheet, share: float) -> None:
    names = [r.name for r in sheet.ranges("volts")]
    value = share * sheet.ranges("volts")[0].full_scale
    doubts = [sheet.budget("volts", value, name).u for name in names]
    assert doubts == sorted(doubts)


def test_a_sheet_that_does_not_say_shares_nine_tenths_of_its_accuracy() -> None:
    """Common practice: gain and reference of one meter move all its readings together."""
    ranges = (MeterRange("60 V", 60.0, 0.01, 1.0, 2.0),)
    plain = MeterSheet("m", "a meter", (("volts", ranges),), "invented for the demo")
    random, shared, _ = plain.u_at("volts", np.array([50.0]))
    accuracy = (0.5 + 0.02) ** 2 / 3  # one rectangle of +-(1 % + 2 counts)
    assert float(shared[0]) ** 2 == pytest.approx(0.9 * accuracy)
    assert float(random[0]) ** 2 == pytest.approx(0.1 * accuracy + 0.01**2 / 12)


def test_leads_that_are_not_zeroed_are_one_sided_and_shared() -> None:
    budget = GOOD.budget("ohms", 0.3)
    leads = next(r for r in budget.rows if r.source == "leads")
    assert (leads.share, leads.value, leads.u) == ("shared", 0.2, pytest.approx(0.2 / math.sqrt(3)))
    assert budget.correction == -0.2
    assert "high by 0 to twice" in leads.why


def test_the_ac_correction_is_added_only_when_the_frequency_is_known() -> None:
    assert GOOD.budget("ac_volts", 2.0).correction == 0.0
    known = GOOD.budget("ac_volts", 2.0, frequency=5000.0)
    assert known.correction == pytest.approx(2.0 * (math.sqrt(2) - 1))
    assert known.u_shared > GOOD.budget("ac_volts", 2.0).u_shared


def test_the_table_shows_every_row_and_the_sums() -> None:
    text = budget_table(CHEAP.budget("ac_volts", 0.5, frequency=100.0))
    for word in ("accuracy, common part", "display", "AC floor", "wave shape", "together",
                 "correction to add", "200 V range"):  # fmt: skip
        assert word in text


@settings(deadline=None)
@given(SHEETS, st.floats(1.0, 50.0), st.floats(0.0, 0.05))
def test_a_common_offset_or_gain_falls_out_of_a_difference(
    sheet: MeterSheet, value: float, step: float
) -> None:
    a = read_text(f"{value:.3f}", "ac_volts", sheet)
    b = read_text(f"{value * (1 + step):.3f}", "ac_volts", sheet)
    found = compare(b, a)
    assert found.value == pytest.approx(b.value - a.value)
    if a.range_name == b.range_name:
        random = math.hypot(a.u_random, b.u_random)
        assert random <= found.u <= math.hypot(random, a.u_shared, b.u_shared)
        assert found.u <= math.hypot(random, 1.01 * step * b.u_shared + 1e-3)


def test_readings_on_two_ranges_or_meters_do_not_cancel() -> None:
    a, b = read_text("5.900", "volts", GOOD), read_text("6.10", "volts", GOOD)
    assert a.range_name != b.range_name
    assert compare(a, b).u == pytest.approx(math.hypot(a.u, b.u))
    c = read_text("6.10", "volts", CHEAP)
    assert compare(b, c).u == pytest.approx(math.hypot(b.u, c.u))
    bare = read_text("5", "volts", None)
    assert compare(bare, bare).u == pytest.approx(math.hypot(bare.u, bare.u))


def test_only_single_numbers_of_one_unit_are_compared() -> None:
    volts = read_text("5", "volts", GOOD)
    with pytest.raises(ValueError, match="compare like with like"):
        compare(volts, read_text("5", "ohms", GOOD))
    with pytest.raises(ValueError, match="no single value"):
        compare(volts, read_text("3 to 5", "volts", GOOD))
