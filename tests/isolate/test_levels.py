"""Readings of one source: against plain integration over where it stands, and what they say."""

import numpy as np
import pytest
from scipy import stats

from knowngood.isolate.belief import Belief, Item, weigh
from knowngood.isolate.forecast import Forecast, Held, Piece, unheld
from knowngood.isolate.hypotheses import list_hypotheses
from knowngood.isolate.levels import make_levels
from knowngood.isolate.likelihood import WANDERS
from knowngood.isolate.proof import judge_proof, shown_out
from knowngood.isolate.table import Table, make_row, make_table
from knowngood.measure.reading import Reading
from tests.isolate.small import F

FAULTS = (F("tired", ("pack",), 10), F("joint", ("harness",), 10), F("key", ("key",), 10))
GOOD = Piece("between", 47.0, 59.0, 1.0, Held(53.0, 53.0, 0.1887))
TIRED = Piece("between", 41.0, 51.0, 1.0, Held(46.0, 46.0, 0.1811))
LOSS = Piece("between", 45.0, 58.4, 1.0, Held(50.9, 52.4, 0.1887))
STUDS = ("post", "stud", "board", "plug")


def table(held: bool = True, fill: bool = False, spread: float = 0.0) -> Table:
    """A pack, then three places that it feeds; behind the joint the last three."""
    hypotheses = list_hypotheses(
        FAULTS, [], {f.id: 0.9 for f in FAULTS}, 0.2, 0.05, 0.08
    )

    def of(marks: tuple[str, ...], place: str) -> Forecast:
        lost = "joint" in marks and place != "post"
        piece = TIRED if "tired" in marks else LOSS if lost else GOOD
        return Forecast((piece,)) if held else unheld(Forecast((piece,)))

    rows = tuple(
        make_row(place, "volts", of((), place), tuple(of(h.marks, place) for h in hypotheses),
                 minutes=1.0, spread=spread)
        for place in STUDS
    )  # fmt: skip
    made = make_table(hypotheses, rows)
    return Table(made.hypotheses, made.rows, made.nodes, levels=made.levels,
                 refills=frozenset({"plug"} if fill else ()))  # fmt: skip


def read(value: float, u_random: float = 0.03, u_shared: float = 0.0) -> Reading:
    return Reading("value", "volts", value, value, "V", f"{value:g}", u_random, u_shared, 0.01)


def seen(of: Table, *shown: tuple[str, float], visit: int = 0, u_shared: float = 0.0) -> Belief:
    return weigh(of, [Item(f"{t}.{n}", t, read(v, u_shared=u_shared), visit)
                      for n, (t, v) in enumerate(shown)])  # fmt: skip


def p(belief: Belief) -> dict[str, float]:
    return {h.id: float(x) for h, x in zip(belief.hypotheses, belief.p, strict=True)}


def test_the_cells_are_the_span_and_a_tenth_beyond() -> None:
    levels = make_levels(0.19, 0.0)
    level, cell, beyond, around = np.array(levels.cells).T
    assert levels.weight == pytest.approx(cell / 1.2)
    assert (level[0] - cell[0] / 2, level[-1] + cell[-1] / 2) == pytest.approx((-0.6, 0.6))
    assert cell.max() * 0.19 <= 1.25 * WANDERS + 1e-12
    assert not beyond.any()
    assert not around.any()


def test_what_moves_the_source_besides_may_take_it_past_its_span() -> None:
    """As far for every span in volts, wide or narrow, and as often as blurring the widest would."""
    level, _, beyond, _ = np.array((wide := make_levels(0.28, 0.02)).cells).T
    assert np.all(np.diff(0.28 * level + beyond) > 0)
    inside = 0.28 * stats.uniform.rvs(-0.6, 1.2, size=400_000, random_state=1)
    drawn = inside + stats.norm.rvs(0, 0.02, size=400_000, random_state=2)
    past = np.abs(drawn) - 0.6 * 0.28
    assert wide.weight[beyond != 0].sum() == pytest.approx(np.mean(past > 0), rel=0.1)
    assert wide.weight[beyond > 0.02].sum() == pytest.approx(np.mean(past > 0.02) / 2, rel=0.15)


def test_two_readings_are_the_integral_over_where_the_source_stands() -> None:
    """Odds of no fault against the tired pack, by adding up over a fine grid of the source: the
    two displays, each blurred by the meter and by what the source moves between them."""
    found = p(seen(table(), ("post", 49.3), ("stud", 49.35)))

    def likelihood(piece: Piece) -> float:
        assert piece.held is not None
        level = np.linspace(-0.6, 0.6, 40_001)
        volts = piece.held.low * (1 + piece.held.moves * level)
        off = np.hypot(0.03, WANDERS * volts)
        each = [stats.norm.pdf(shown, volts, off) for shown in (49.3, 49.35)]
        return float((each[0] * each[1]).mean())

    bare = p(seen(table()))
    odds = (found["tired"] / found["key"]) / (bare["tired"] / bare["key"])
    assert odds == pytest.approx(likelihood(TIRED) / likelihood(GOOD), rel=0.1)


def test_three_low_volts_of_one_pack_are_one_piece_of_evidence() -> None:
    low = (("post", 50.3), ("stud", 50.3), ("board", 50.3))

    def odds(of: Table, count: int) -> float:
        found = p(seen(of, *low[:count]))
        return found["tired"] / found["key"]

    apart = table(held=False)
    assert odds(apart, 3) / odds(apart, 1) > 1.4  # each counted as if it were low by itself
    assert odds(table(), 3) == pytest.approx(odds(table(), 1), rel=0.1)


def test_a_loss_of_a_volt_behind_a_joint_is_proven_by_the_pack_read_twice_and_one_behind() -> None:
    pack, behind = ("post", 52.6), ("stud", 51.6)
    alone = [seen(table(), pack), seen(table(), behind)]
    both = seen(table(), pack, behind)
    for belief in alone:
        assert p(belief)["joint"] < 0.6
        assert not judge_proof(belief).proven
    assert not shown_out(alone[0]).keys() & {"key", "joint"}
    assert not shown_out(alone[1]).keys() & {"key", "joint"}
    assert p(both)["joint"] > 0.95
    assert {"key", "tired"} <= shown_out(both).keys()
    assert both.weighed[1].leans == ("post",)
    once = judge_proof(both)
    assert (once.proven, once.again) == (False, ("post",)), "a pack may have moved since"
    twice = judge_proof(seen(table(), pack, behind, pack))
    assert twice.proven and twice.parts == {"harness"}
    again = seen(table(), pack, behind, pack, behind)
    assert judge_proof(again).proven
    apart = seen(table(held=False), pack, behind, pack, behind)
    assert p(apart)["joint"] < 0.6
    assert not judge_proof(apart).proven


def test_the_order_of_the_two_does_not_matter() -> None:
    one, other = seen(table(), ("post", 52.6), ("stud", 51.6)), seen(
        table(), ("stud", 51.6), ("post", 52.6))  # fmt: skip
    assert p(one) == pytest.approx(p(other), rel=1e-6, abs=1e-9)
    assert "key" in shown_out(other)


def test_what_the_meter_is_off_does_not_look_like_a_loss() -> None:
    """Both readings are on one meter: what it is off by moves both."""
    good = seen(table(), ("post", 52.6), ("stud", 52.6), u_shared=0.3)
    assert p(good)["joint"] < 0.1
    assert good.weighed[1].extreme_good > 0.05


@pytest.mark.parametrize("fill", [False, True])
def test_another_source_says_nothing_of_this_one(fill: bool) -> None:
    """Another day, or filled by the shop in between: the pack stands elsewhere."""
    of = table(fill=fill)
    items = [Item("a", "post", read(52.6)), Item("b", "plug", read(58.6)),
             Item("c", "stud", read(58.6 if fill else 55.0), 0 if fill else 1)]  # fmt: skip
    if not fill:
        del items[1]
    belief = weigh(of, items)
    assert belief.weighed[-1].leans == (("plug",) if fill else ())
    if not fill:
        assert "key" not in shown_out(belief)


def test_an_unlikely_suspect_is_judged_where_its_own_source_would_stand() -> None:
    """A suspect with hardly any belief is not shown out by a reading just as it would give."""
    rare = Piece("between", 50.0, 60.0, 1.0, Held(55.0, 55.0, 0.15))
    faults = (F("rare", ("other pack",), 1e-5), *FAULTS)
    hypotheses = list_hypotheses(faults, [], {f.id: 0.9 for f in faults}, 0.2, 0.05, 0.08)
    rows = tuple(
        make_row(place, "volts", Forecast((GOOD,)), tuple(
            Forecast((rare if "rare" in h.marks else GOOD,)) for h in hypotheses), minutes=1.0)
        for place in STUDS
    )  # fmt: skip
    belief = seen(make_table(hypotheses, rows), ("post", 52.6), ("stud", 52.6))
    assert p(belief)["rare"] < 1e-4
    assert "rare" not in shown_out(belief)


def test_what_is_itself_a_slip_shows_nobody_out_by_what_it_told_of_the_source() -> None:
    """The pack misread once, two places behind it read right: they speak against the misreading
    and not against every suspect."""
    wrong = ("post", 49.0)
    belief = seen(table(), wrong, ("stud", 52.6), ("stud", 52.6), ("board", 52.6))
    pack, stud, board = belief.weighed
    assert pack.slip > 0.5
    assert (stud.leans, board.leans) == ((), ("stud",))
    assert stud.extreme_good > 0.05
    assert "key" not in shown_out(belief)


@pytest.mark.parametrize("fill", [False, True])
def test_a_loss_that_was_proven_is_so_still_when_the_source_stands_elsewhere(fill: bool) -> None:
    """On another day, or after the pack was filled: a reading that tells nothing between the joint
    and the others changes nothing between them."""
    of = table(fill=fill)
    pair = [("post", 52.6), ("stud", 51.6)] * 2
    items = [Item(f"{n}", t, read(v)) for n, (t, v) in enumerate(pair)]
    before = weigh(of, items)
    later = Item("later", "plug" if fill else "board", read(55.0), 0 if fill else 1)
    after = weigh(of, [*items, later])
    assert judge_proof(before).proven
    assert judge_proof(after).proven
    alone = weigh(of, [later])
    odds = [p(b)["joint"] / p(b)["key"] for b in (before, alone, after, weigh(of, []))]
    assert odds[2] == pytest.approx(odds[0] * odds[1] / odds[3], rel=0.02)
    assert after.weighed[1].leans == ("post",)


def test_two_days_each_with_a_source_of_its_own_are_two_pieces_of_evidence() -> None:
    """What the likelihoods at the nodes and `finer` make is the belief."""
    items = [Item(f"{n}", t, read(v), n // 2) for n, (t, v) in enumerate(
        [("post", 52.6), ("stud", 52.2), ("post", 55.0), ("stud", 54.6)])]  # fmt: skip
    one, other, both = weigh(table(), items[:2]), weigh(table(), items[2:]), weigh(table(), items)
    bare = weigh(table(), [])
    odds = [p(b)["joint"] / p(b)["key"] for b in (one, other, both, bare)]
    assert odds[2] == pytest.approx(odds[0] * odds[1] / odds[3], rel=0.05)
    assert both.finer is not None
    log = both.finer + np.log([h.weight for h in both.hypotheses])[:, None]
    log = log + np.log([n.weight for n in both.nodes]) + sum(w.faulty for w in both.weighed)
    again = np.exp(log - log.max()).sum(axis=1)
    assert again / again.sum() == pytest.approx(both.p, abs=1e-9)


def test_a_slip_of_another_day_is_a_slip_still() -> None:
    wrong = [("post", 49.0), ("stud", 52.6), ("stud", 52.6), ("board", 52.6)]
    items = [Item(f"{n}", t, read(v)) for n, (t, v) in enumerate(wrong)]
    for later in ([], [Item("later", "plug", read(50.0), 1)]):
        belief = weigh(table(), [*items, *later])
        assert belief.weighed[0].slip > 0.5
        assert belief.weighed[1].leans == ()
        assert "key" not in shown_out(belief)


@pytest.mark.parametrize(("volts", "slip"), [(60.2, False), (66.0, True)])
def test_a_source_a_little_past_its_span_is_no_slip(volts: float, slip: bool) -> None:
    """Spans end at 58 V and are widened to 59 V; 2 % more is one standard deviation past that."""
    belief = seen(table(spread=0.02), ("post", volts), ("stud", volts))
    for w in belief.weighed:
        assert (w.slip > 0.9) if slip else (w.slip < 0.01)
    assert "key" not in shown_out(belief)
    assert p(belief)["joint"] < 0.01


def test_the_same_reading_before_and_after_a_charge_is_not_taken_for_one() -> None:
    """One table for many jobs: what is kept of a reading told in one is not used where the same
    reading stands on another source; all as on a table that has seen nothing."""
    plug = ("plug", 53.0)
    first = (("post", 53.0), plug, ("stud", 53.0))
    second = (("board", 53.0), ("stud", 53.0), plug, ("post", 53.0), plug)

    def items(shown: tuple[tuple[str, float], ...]) -> list[Item]:
        return [Item(t if t != "plug" else f"plug.{n}", t, read(v))
                for n, (t, v) in enumerate(shown)]  # fmt: skip

    used = table(fill=True)
    weigh(used, items(first))
    fresh = weigh(table(fill=True), items(second))
    again = weigh(used, items(second))
    assert np.allclose(again.joint, fresh.joint)
    assert [w.slip for w in again.weighed] == pytest.approx([w.slip for w in fresh.weighed])
