"""Belief: proper, order-free, recomputable, calibrated on jobs drawn from the model."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.isolate.belief import Item, accepted, weigh
from knowngood.isolate.proof import judge_proof, shown_out
from knowngood.isolate.repeats import LASTING
from knowngood.isolate.slips import likely_slip
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.reading import Reading
from knowngood.measure.typed import read_text
from tests.isolate.small import small_table
from tests.simulate import World, draw_truth

METER = load_shipped_meter("generic-6000")
TABLE = small_table()


def item(test: str, text: str, visit: int = 0) -> Item:
    reading = read_text(text, TABLE.rows[test].quantity, METER)
    assert reading.is_evidence, reading.note
    return Item(f"{test}:{text}", test, reading, visit)


def of_part(part: str, *items: Item) -> float:
    return weigh(TABLE, items).of_parts().get(frozenset({part}), 0.0)


def test_the_weights_sum_to_one_and_other_keeps_its_share() -> None:
    assert TABLE.prior.sum() == pytest.approx(1.0)
    other = next(h for h in TABLE.hypotheses if h.kind == "other")
    assert other.weight == pytest.approx(0.05, abs=0.005)


def test_a_shorted_bridge_comes_alone_and_with_its_fuse() -> None:
    bridge = {h.id: h for h in TABLE.hypotheses if h.marks[:1] == ("bridge_short",)}
    with_fuse = bridge["bridge_short+fuse_open"]
    assert with_fuse.parts == {"controller", "fuse"}
    assert with_fuse.weight == pytest.approx(1.5 * bridge["bridge_short"].weight)


def test_good_reading_clears_and_bad_reading_points() -> None:
    assert of_part("pack", item("pack_volts", "57.2 V")) < 0.02
    assert of_part("pack", item("pack_volts", "38.4 V")) > 0.9
    assert of_part("switch", item("switch_ohms", "OL")) > 0.8


def test_good_reading_lowers_an_intermittent_fault_and_never_removes_it() -> None:
    def loose(*items: Item) -> float:
        """Odds of the loose joint against a healthy machine."""
        ids = [h.id for h in TABLE.hypotheses]
        p = weigh(TABLE, items).p
        return float(p[ids.index("joint_loose")] / p[ids.index("no_fault")])

    others = [
        item("pack_volts", "57.2"), item("switch_ohms", ".2"), item("bridge_diode", "0.52"),
        item("fuse_ohms", ".2"), item("drag", "no"),
    ]  # fmt: skip
    before = loose(*others)
    after = loose(*others, item("chain_ohms", "0.3"))
    assert after / before == pytest.approx(0.8, rel=0.02)  # 1 - what shows at rest
    found = [*others, item("chain_ohms", "0.3"), item("chain_wiggled", "jumps")]
    assert of_part("harness", *found) > 0.9


def test_a_good_reading_shows_out_what_is_always_there_and_not_what_comes_and_goes() -> None:
    """Of the loose joint 0.3 ohm is no surprise: at rest it seldom shows."""
    belief = weigh(TABLE, [item("chain_ohms", "0.3")])
    out = shown_out(belief)
    assert "harness_open" in out and "switch_open" in out and "joint_loose" not in out
    (weighed,) = belief.weighed
    place = [h.id for h in TABLE.hypotheses].index("joint_loose")
    assert weighed.extreme[place] == pytest.approx(0.8 * weighed.extreme_good, rel=1e-6)


def test_the_same_test_again_removes_a_slip_and_no_more() -> None:
    """Two lost contacts in a row are rare; a lead on the wrong point stays there: no number of
    repeats makes the belief more than it would be if slips were as rare as those that last."""
    once, twice, often = (
        of_part("switch", *[replace(item("switch_ohms", "OL"), id=str(i)) for i in range(n)])
        for n in (1, 2, 9)
    )
    rows = {"switch_ohms": replace(TABLE.rows["switch_ohms"], slip=0.02 * LASTING)}
    rare = replace(TABLE, rows={**TABLE.rows, **rows})
    best = weigh(rare, [item("switch_ohms", "OL")]).of_parts()[frozenset({"switch"})]
    assert once < twice < often <= best + 1e-4
    assert twice == pytest.approx(best, abs=0.002)


def test_a_repeat_that_disagrees_takes_back_what_the_first_said() -> None:
    first, second = item("pack_volts", "0.0"), item("pack_volts", "57.2")
    assert of_part("pack", first) > 0.5
    assert of_part("pack", first, second) < 0.02
    assert of_part("pack", second, first) == pytest.approx(of_part("pack", first, second))
    belief = weigh(TABLE, [first, second])
    assert belief.weighed[0].kept == (second.id,)  # the 0 V is taken for the slip
    assert belief.weighed[0].reading.value == pytest.approx(57.2)
    assert "pack_latched" in shown_out(belief)


def test_readings_that_agree_are_one_with_less_noise() -> None:
    belief = weigh(TABLE, [item("pack_volts", t) for t in ("57.20", "57.22", "57.24")])
    (weighed,) = belief.weighed
    assert weighed.reading.value == pytest.approx(57.22)
    one = item("pack_volts", "57.20").reading.u_random
    assert weighed.reading.u_random == pytest.approx(one / 3**0.5, rel=0.01)
    assert len(weighed.kept) == 3


def test_a_fault_that_comes_and_goes_may_jump_once_and_stand_still_once() -> None:
    ids = [h.id for h in TABLE.hypotheses]
    jumped = weigh(TABLE, [item("chain_wiggled", "jumps"), item("chain_wiggled", "OL")])
    assert jumped.p[ids.index("joint_loose")] > 0.9
    (weighed,) = jumped.weighed  # both show the machine: nothing is left to read once more
    assert weighed.kept == tuple(i for i in weighed.items)
    assert judge_proof(jumped).again == ()


def test_accepting_a_part_closes_it() -> None:
    belief = weigh(TABLE, [], [accepted(TABLE, "pack", "accepted by Kim")])
    assert belief.of_parts()[frozenset({"pack"})] < 0.01


def test_proof_names_the_reading_and_what_is_missing() -> None:
    looked = [item("pack_volts", "57.4"), item("bridge_diode", "0.51"), item("fuse_ohms", ".1")]
    found = [item("switch_ohms", "OL"), replace(item("switch_ohms", "OL"), id="again")]
    proof = judge_proof(weigh(TABLE, [*looked, *found]))
    assert proof.proven and proof.parts == {"switch"}
    assert "switch_ohms" in proof.tests
    open_ = judge_proof(weigh(TABLE, looked))
    assert not open_.proven and open_.missing


def test_a_reading_that_fits_nothing_raises_other_and_names_the_slip() -> None:
    belief = weigh(TABLE, [item("pack_volts", "5.72 V")])
    slip = likely_slip(TABLE, belief, belief.weighed[0])
    assert slip is not None and slip.kind == "range"
    belief = weigh(TABLE, [item("pack_volts", "-57.2 V")])
    slip = likely_slip(TABLE, belief, belief.weighed[0])
    assert slip is not None and slip.kind == "lead"
    odd = weigh(TABLE, [item("pack_volts", "21 V"), item("switch_ohms", "0.2")])
    ids = [h.kind for h in TABLE.hypotheses]
    assert odd.p[ids.index("other")] > 2 * TABLE.prior[ids.index("other")]


def test_a_unit_typed_wrong_is_called_out_even_where_a_suspect_would_read_so() -> None:
    """55.5 mV: a latched pack may read it, but 55.5 V is what most packs read."""
    belief = weigh(TABLE, [item("pack_volts", "55.5 mV")])
    assert belief.weighed[0].slip < 0.5  # it does fit a suspect
    slip = likely_slip(TABLE, belief, belief.weighed[0])
    assert slip is not None and slip.words == "look at the unit: did you mean 55.5 V?"
    right = weigh(TABLE, [item("pack_volts", "55.5 V")])
    assert likely_slip(TABLE, right, right.weighed[0]) is None
    low = item("pack_volts", "55.5 mV")
    twice = weigh(TABLE, [low, replace(low, id="again")])
    assert likely_slip(TABLE, twice, twice.weighed[0]) is None


TEXTS = {
    "pack_volts": ["57.2", "38", "0.01", "OL", "jumps 3-50 V", "about 55"],
    "switch_ohms": ["0.2", "OL", "1k2", "1 to 3 ohm"],
    "chain_wiggled": ["0.3", "jumps", "OL", "22k"],
    "bridge_diode": ["0.52", "0.02", "OL"],
    "drag": ["yes", "no"],
}
CHOICES = [(test, text) for test, texts in TEXTS.items() for text in texts]


@given(st.lists(st.sampled_from(CHOICES), max_size=8), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_belief_sums_to_one_and_order_does_not_matter(picked: list, rnd) -> None:  # type: ignore[no-untyped-def, type-arg]
    items = [
        Item(f"{i}", test, read_text(text, TABLE.rows[test].quantity, METER))
        for i, (test, text) in enumerate(picked)
    ]
    first = weigh(TABLE, items)
    assert first.p.sum() == pytest.approx(1.0, abs=1e-12)
    assert (first.p >= 0).all()
    shuffled = list(items)
    rnd.shuffle(shuffled)
    assert weigh(TABLE, shuffled).p == pytest.approx(first.p, rel=1e-9, abs=1e-12)


def test_the_formula_of_the_docstring_gives_the_same_belief() -> None:
    """Written out here as plain loops over nodes and groups."""
    rng = np.random.default_rng(7)
    for _ in range(20):
        world = World(TABLE, METER, rng, draw_truth(TABLE, rng))
        tests = rng.permutation(list(TABLE.rows))[:5]
        belief = weigh(TABLE, [world.read(t) for t in tests])
        score = np.zeros(len(TABLE.hypotheses))
        for i, h in enumerate(TABLE.hypotheses):
            for k, node in enumerate(TABLE.nodes):
                total = h.weight * node.weight
                for _, group in itertools.groupby(
                    sorted(belief.weighed, key=lambda w: w.group), key=lambda w: w.group
                ):
                    members = list(group)
                    s = 1.0 if h.shows is None else h.shows.get(members[0].group[1], 0.0)
                    seen = np.prod([np.exp(w.faulty[i, k]) for w in members])
                    hidden = np.prod([np.exp(w.healthy[k]) for w in members])
                    total *= s * seen + (1 - s) * hidden
                score[i] += total
        assert belief.p == pytest.approx(score / score.sum(), rel=1e-9)


def test_no_reading_no_change() -> None:
    silent = Reading("none", "volts", None, None, "V", "skip")
    assert weigh(TABLE, [Item("a", "pack_volts", silent)]).p == pytest.approx(TABLE.prior)
