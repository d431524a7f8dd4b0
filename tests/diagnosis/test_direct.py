"""A likely part with a cheap reading of its own is read; what cannot tell more is not asked."""

from __future__ import annotations

import pytest

from knowngood.diagnosis.assess import Setup, assess
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.views import Assessment
from knowngood.isolate.advice import of_one_part
from knowngood.isolate.bands import SURE_SHARE
from knowngood.isolate.belief import Item
from knowngood.measure.typed import read_text
from tests.diagnosis.test_sentences import setup

LOOKS = {
    "look_pack": "no", "look_terminals": "yes", "guard_click": "yes", "lock_off_feel": "yes",
    "pull_chain": "yes", "verify": "no", "pack_rest": "56.1 V", "input_ohms": "OL",
}  # fmt: skip
EXPANSIONS = 400


def saw(called: str | None = None, **more: str) -> Assessment:
    """A dead saw with the input open, chain off; ``more`` readings, for which the shell is open."""
    at: Setup = setup("chainsaw-56v")
    tests = {t.id: t for t in at.machine.tests}
    items = tuple(
        Item(test, test, read_text(text, tests[test].quantity, at.bench.meter))
        for test, text in {**LOOKS, **more}.items()
    )
    opened = {"pack_out", "chain_off", *(("shell", "cap_safe", "motor_plug") if more else ())}
    evidence = Evidence(items, called=called, opened=frozenset(opened))
    return assess(at, evidence, deadline=None, max_expansions=EXPANSIONS)


@pytest.mark.parametrize("name", ["chainsaw-56v", "mower-battery-56v"])
def test_what_a_good_machine_reads_shows_out_nobody_who_reads_so(name: str) -> None:
    """A full pack of 58 V speaks for the pack alone: it is no proof of the fuse."""
    bench = setup(name).bench
    spoken = 0
    for row in bench.table.rows.values():
        bands = bench.bands(row.id)
        usual = bands.given[row.good].mean(axis=0) > 0.5
        spoken += bool(usual.any())
        assert not (bands.out[row.good][usual] >= SURE_SHARE).any(), row.id
    assert spoken > 10


def test_fuse_and_controller_all_but_sure_the_fuse_is_read() -> None:
    """The bridge shorted behind an open input: the fuse between them is a minute's reading, or
    the one reading that all hangs on is taken once more."""
    found = saw(bridge_diode="0.020 V")
    parts = {p.id: p.belief for p in found.parts}
    assert parts["fuse"] > 0.95 and parts["controller"] > 0.85
    assert found.next is not None and found.next.id in ("fuse_ohms", "bridge_diode")


def test_a_part_that_is_called_is_read_first() -> None:
    """Or after a look of half a minute with the shell shut, which the proof needs as well."""
    found = saw(called="fuse")
    fuse = next(s for s in found.steps if s.id == "fuse_ohms")
    before = [s for s in found.steps if s.price < fuse.price]
    assert all(s.kind == "test" and s.minutes <= 0.5 and not s.opens for s in before)
    assert fuse.costs_more <= setup("chainsaw-56v").bench.prices.of_minutes(0.5)


def test_the_reading_of_a_likely_part_has_a_price_that_was_looked_into() -> None:
    """The fuse likely and the shell still shut: to read it first is hardly dearer than the plan,
    which reads it too; of a step that nobody looked into only a rough price is known."""
    found = saw()
    fuse = next(s for s in found.steps if s.id == "fuse_ohms")
    prices = setup("chainsaw-56v").bench.prices
    assert fuse.costs_more <= prices.of_minutes(5.0)


def test_a_reading_of_one_part_is_what_nothing_else_reads_like() -> None:
    bench = setup("chainsaw-56v").bench
    belief = saw().belief
    direct = of_one_part(bench.table, belief)
    assert "fuse_ohms" in direct  # the fuse is likely
    assert not {"input_ohms", "turn_sprocket", "bridge_diode", "pack_charged"} & direct
    assert "bridge_diode" in of_one_part(bench.table, belief, frozenset({"controller"}))
