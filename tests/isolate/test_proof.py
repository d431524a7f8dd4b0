"""When a part is proven: each condition alone decides, and the planner means the same by it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from knowngood.isolate.advice import Advice, Bench, Fit, advise
from knowngood.isolate.belief import Belief, Item, accepted, weigh
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.hypotheses import Hypothesis, HypothesisKind
from knowngood.isolate.prices import Prices
from knowngood.isolate.proof import Proof, judge_proof, shown_out
from knowngood.isolate.table import Row, Table, make_row, make_table
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.reading import Reading
from knowngood.measure.typed import read_text
from tests.isolate.small import small_table
from tests.simulate import World, draw_truth

METER = load_shipped_meter("generic-6000")
SMALL = small_table()
OL = Forecast((Piece("over"),))
LOW = Forecast((Piece("between", 0.0, 1.0),))
HIGH = Forecast((Piece("between", 100.0, 200.0),))


def yes(p: float) -> Forecast:
    return Forecast(yes=p)


def suspect(id: str, weight: float, kind: HypothesisKind = "primary") -> Hypothesis:
    """ "a" is cured by part A, "a&b" by A and B, "other" and "no_fault" by nothing."""
    parts = frozenset(i.upper() for i in id.split("&")) if kind in ("primary", "double") else ()
    return Hypothesis(id, id, kind, weight, frozenset(parts), tuple(id.split("&")))


def suspects(*found: Hypothesis) -> tuple[Hypothesis, ...]:
    return tuple(replace(h, weight=h.weight / sum(x.weight for x in found)) for h in found)


def answer(text: str, row: Row, id: str = "") -> Item:
    return Item(id or f"{row.id} {text}", row.id, read_text(text, row.quantity, METER))


def one_question(a: float, b: float, good: float, other: float, no_fault: float = 0.0) -> Belief:
    """Yes to one question, where a, b and a good machine say yes so often; ``other`` and
    ``no_fault`` are what is believed of them *after* the answer, the rest is a's and b's."""
    rest = 1.0 - other - no_fault
    found = suspects(
        suspect("a", rest / (a + b)), suspect("b", rest / (a + b)),
        suspect("other", other / 0.5, "other"),
        suspect("no_fault", no_fault / good + 1e-12, "no fault"),
    )  # fmt: skip
    forecasts = (yes(a), yes(b), yes(good), yes(good))
    row = make_row("t", "yes_no", yes(good), forecasts, minutes=1.0)
    return weigh(make_table(found, (row,)), [answer("yes", row)])


@pytest.mark.parametrize(("other", "proven"), [(0.040, True), (0.050, False)])
def test_the_belief_must_reach_95_percent_with_other_counted(other: float, proven: bool) -> None:
    """A telling reading that no good machine gives: b is shown out, and a is at .954 or .944."""
    belief = one_question(0.9, 0.006, 0.006, other)
    assert "b" in shown_out(belief)
    proof = judge_proof(belief)
    assert proof.parts == {"A"} and proof.belief == pytest.approx(1 - other - 0.0063, abs=1e-3)
    assert proof.proven is proven
    assert proven or "must reach 95%" in proof.missing


@pytest.mark.parametrize(
    ("good", "other", "no_fault", "proven"),
    [
        (0.9, 0.045, 0.045, True),  # all else shown good, though a is believed at .90 only
        (0.006, 0.045, 0.045, False),  # the same by a reading that no good machine gives
        (0.9, 0.055, 0.035, False),  # "other" is left open
        (0.9, 0.035, 0.055, False),  # "no fault" is left open
    ],
)
def test_all_else_shown_good_is_a_proof_of_its_own(
    good: float, other: float, no_fault: float, proven: bool
) -> None:
    belief = one_question(0.9, 0.006, good, other, no_fault)
    proof = judge_proof(belief)
    assert 0.89 < proof.belief < 0.95 and "b" in shown_out(belief)
    assert proof.proven is proven


def test_a_word_can_show_good_what_no_reading_did() -> None:
    found = suspects(
        suspect("a", 0.9), suspect("b", 0.3), suspect("other", 0.045, "other")
    )  # fmt: skip
    row = make_row("t", "yes_no", yes(0.9), (yes(0.9),) * 3, minutes=1.0)
    table = make_table(found, (row,))
    assert not judge_proof(weigh(table, [])).proven
    assert judge_proof(weigh(table, [], [accepted(table, "B", "by Kim")])).proven


def test_a_suspect_on_the_very_edge_of_one_percent() -> None:
    for p, out in ((0.0099, True), (0.0101, False)):
        assert ("b" in shown_out(one_question(0.9, p, 0.006, 0.01))) is out


def test_a_likely_slip_shows_nobody_out() -> None:
    """50 V where one suspect and a good machine say 2 to 3, the other 0 to 1."""
    bad, good = Forecast((Piece("between", 0, 1),)), Forecast((Piece("between", 2, 3),))
    found = suspects(suspect("a", 0.5), suspect("b", 0.48), suspect("other", 0.02, "other"))
    row = make_row("t", "volts", good, (bad, good, good), minutes=1.0, slip=0.3)
    belief = weigh(make_table(found, (row,)), [answer("50 V", row)])
    assert belief.weighed[0].slip > 0.99
    assert max(belief.weighed[0].extreme[:2]) < 1e-6  # impossible under both, if it were no slip
    assert shown_out(belief) == {}
    proof = judge_proof(belief, frozenset({"A"}))
    assert not proof.proven and proof.missing.startswith("not yet shown out")


@pytest.mark.parametrize(("weight", "stands"), [(2e-4, True), (5e-5, False)])
def test_a_second_fault_elsewhere_must_be_shown_out_only_if_believed(
    weight: float, stands: bool
) -> None:
    """b and c together say yes as a does; 1 in 10 000 is the least that counts."""
    rest = 1 - weight
    found = suspects(
        suspect("a", rest * 0.98), suspect("b", rest * 0.01), suspect("b&c", weight, "double"),
        suspect("other", rest * 0.01, "other"),
    )  # fmt: skip
    row = make_row("t", "yes_no", yes(0.5), (yes(0.9), yes(0.001), yes(0.9), yes(0.9)), minutes=1.0)
    proof = judge_proof(weigh(make_table(found, (row,)), [answer("yes", row)]))
    assert proof.parts == {"A"} and proof.belief > 0.98
    assert (proof.open == ("b&c",)) is stands
    assert proof.proven is not stands


def test_a_second_fault_that_takes_the_part_along_is_no_argument_against_it() -> None:
    found = suspects(
        suspect("a", 0.6), suspect("a&c", 0.35, "double"), suspect("b", 0.05),
        suspect("other", 0.01, "other"),
    )  # fmt: skip
    row = make_row("t", "yes_no", yes(0.5), (yes(0.9), yes(0.9), yes(0.001), yes(0.5)), minutes=1.0)
    proof = judge_proof(weigh(make_table(found, (row,)), [answer("yes", row)]))
    assert proof.proven and proof.parts == {"A"} and proof.belief > 0.99


# -- no single touch of the probes -----------------------------------------------------------


def chain() -> Table:
    """Ohms end to end and of the first half; a is in the first half, b in the second."""
    found = suspects(
        suspect("a", 0.3), suspect("b", 0.6), suspect("other", 0.01, "other"),
        suspect("no_fault", 0.02, "no fault"),
    )  # fmt: skip
    return make_table(
        found,
        (
            make_row("half", "ohms", LOW, (OL, LOW, LOW, LOW), minutes=2.0, words="first half"),
            make_row("other_half", "ohms", LOW, (LOW, OL, LOW, LOW), minutes=2.0),
        ),
    )


def test_an_ol_read_once_proves_nothing_and_read_twice_it_does() -> None:
    table = chain()
    row = table.rows["half"]
    once = judge_proof(weigh(table, [answer("OL", row, "1")]))
    assert once.parts == {"A"} and once.belief > 0.95 and not once.open
    assert not once.proven and once.again == ("half",)
    assert 'read "first half" once more with the probes set anew' in once.missing
    twice = judge_proof(weigh(table, [answer("OL", row, "1"), answer("OL", row, "2")]))
    assert twice.proven and twice.again == () and twice.items == ("1", "2")


def test_a_repeat_that_disagrees_is_no_proof_either_way() -> None:
    table = chain()
    row = table.rows["half"]
    belief = weigh(table, [answer("OL", row, "1"), answer("0.3", row, "2")])
    proof = judge_proof(belief)
    once = weigh(table, [answer("OL", row, "1")])
    part = frozenset({"A"})
    assert not proof.proven and belief.of_parts()[part] < 0.5 < once.of_parts()[part]


def test_what_never_reads_the_same_is_not_asked_for_without_end() -> None:
    """Each touch gives another value: the proof says so and wants another reading instead."""
    table = chain()
    bench = Bench(table, METER, Prices(), (), fits(table))
    row = table.rows["half"]
    items, asked = list[Item](), 0
    for text in ("OL", "40 kohm", "3 Mohm", "800 ohm", "12 Mohm", "100 kohm"):
        belief = weigh(table, items)
        proof = judge_proof(belief, frozenset({"A"}))
        advice = advise(
            bench, belief, read=frozenset(i.test for i in items), called=frozenset({"A"}),
            deadline=None, max_expansions=20, proof=proof, once_more=("half",),
        )  # fmt: skip
        offered = {s.id for s in advice.plan.next if s.kind == "test"}
        if "half" not in offered:
            break
        asked += 1
        items.append(answer(text, row, text))
    assert asked == 4 and offered == {"other_half"}
    assert not proof.proven and proof.again == () and proof.restless == ("half",)
    assert proof.missing.startswith('"first half" was read 4 times and does not settle')
    settled = judge_proof(weigh(table, [*items, answer("0.3", table.rows["other_half"])]))
    assert settled.proven and settled.parts == {"A"}
    later = [replace(answer("25 Mohm", row, "later"), visit=1)]
    assert judge_proof(weigh(table, [*items, *later])).restless == ()  # another visit


def test_whatever_is_typed_no_test_is_asked_for_without_end() -> None:
    """Readings that fit nothing, and never each other, until nothing but a decision is left."""
    bench = Bench(SMALL, METER, Prices(), (), fits(SMALL))
    rng = np.random.default_rng(17)
    most = 0
    for _ in range(12):
        items = list[Item]()
        while True:
            belief = weigh(SMALL, items)
            read = frozenset(i.test for i in items)
            advice = advise(bench, belief, read=read, deadline=None, max_expansions=2)
            tests = [s.id for s in advice.plan.next if s.kind == "test"]
            if not tests:
                break
            row = SMALL.rows[tests[0]]
            value = float(np.exp(rng.uniform(np.log(1e-2), np.log(60))))
            texts = ["OL", "jumps", f"{value:.2f}", f"about {value:.1f}"]
            text = rng.choice(["yes", "no"] if row.quantity == "yes_no" else texts)
            items.append(answer(str(text), row, str(len(items))))
            assert len(items) <= 4 * len(SMALL.rows)
        most = max(most, *(sum(i.test == t for i in items) for t in SMALL.rows))
    assert 1 < most <= 4


def test_another_reading_that_speaks_for_the_part_does_as_well() -> None:
    table = chain()
    half, rest = table.rows["half"], table.rows["other_half"]
    proof = judge_proof(weigh(table, [answer("OL", half), answer("0.3", rest)]))
    assert proof.proven and proof.again == ()


def test_a_good_reading_that_no_slip_shows_needs_no_repeat() -> None:
    pack = Forecast((Piece("between", 52.0, 58.8),))
    flat = Forecast((Piece("between", 30.0, 46.0),))
    found = suspects(suspect("a", 0.5), suspect("b", 0.48), suspect("other", 0.02, "other"))
    row = make_row("v", "volts", pack, (pack, flat, pack), minutes=1.0)
    table = make_table(found, (row,))
    assert judge_proof(weigh(table, [answer("57.2 V", row)])).proven
    lost = make_row(
        "v", "volts", flat, (Forecast((Piece("around", 0, 0.02),)), flat, flat), minutes=1
    )
    proof = judge_proof(weigh(make_table(found, (lost,)), [answer("0.00 V", lost)]))
    assert not proof.proven and proof.again == ("v",)


@pytest.mark.parametrize("text", ["0", "0 V", "0.0 V", "0.00 V", "0.000 V", "0 mV", "0.0 mV"])
def test_a_zero_is_no_surer_for_being_typed_short(text: str) -> None:
    """However many digits were typed, a lead that touches nothing reads so as well."""
    flat = Forecast((Piece("between", 30.0, 46.0),))
    dead = Forecast((Piece("around", 0.0, 0.02),))
    found = suspects(suspect("a", 0.5), suspect("b", 0.48), suspect("other", 0.02, "other"))
    row = make_row("v", "volts", flat, (dead, flat, flat), minutes=1.0)
    table = make_table(found, (row,))
    once = judge_proof(weigh(table, [answer(text, row, "1")]))
    assert once.parts == {"A"} and not once.proven and once.again == ("v",)
    assert judge_proof(weigh(table, [answer(text, row, "1"), answer(text, row, "2")])).proven


@pytest.mark.parametrize("text", ["0", "0 ohm", "0.0 ohm"])
def test_so_with_leads_that_touch_each_other(text: str) -> None:
    coil = Forecast((Piece("between", 90.0, 110.0),))
    found = suspects(suspect("a", 0.5), suspect("b", 0.48), suspect("other", 0.02, "other"))
    row = make_row("r", "ohms", coil, (LOW, coil, coil), minutes=1.0)
    once = judge_proof(weigh(make_table(found, (row,)), [answer(text, row)]))
    assert once.parts == {"A"} and not once.proven and once.again == ("r",)


def test_a_reading_against_the_part_is_asked_for_once_more() -> None:
    """Two rows say a, the third, an OL that a lost contact would give, says it is not a."""
    found = suspects(suspect("a", 0.5), suspect("b", 0.48), suspect("other", 1e-6, "other"))
    rows = (
        make_row("r1", "volts", LOW, (HIGH, LOW, LOW), minutes=1.0, words="first"),
        make_row("r2", "ohms", LOW, (replace_over(0.008), OL, LOW), minutes=1.0, words="second"),
    )
    table = make_table(found, rows)
    items = [answer(t, rows[0], t) for t in ("150.2 V", "150.1 V")] + [answer("OL", rows[1])]
    proof = judge_proof(weigh(table, items))
    assert proof.parts == {"A"} and proof.belief > 0.99
    assert not proof.proven and not proof.explained and proof.against == ("r2",)
    assert 'speaks against this part, too: read "second" once more' in proof.missing
    cleared = judge_proof(weigh(table, [*items, answer("0.4", rows[1])]))
    assert cleared.proven
    stuck = judge_proof(weigh(table, [*items, answer("OL", rows[1], "again")]))
    assert not stuck.proven and stuck.against == () and "may not be on the list" in stuck.missing


def replace_over(share: float) -> Forecast:
    """Low, and seldom past every range."""
    return Forecast((Piece("between", 0.0, 1.0, 1.0 - share), Piece("over", share=share)))


# -- the planner's proof is the judge's ------------------------------------------------------


def fits(table: Table) -> tuple[Fit, ...]:
    names = sorted({p for h in table.hypotheses for p in h.parts})
    return tuple(Fit(p, 40.0, 5.0, 1.0) for p in names)


def order_price(advice: Advice, parts: frozenset[str]) -> float | None:
    named = {frozenset(s.id.split("+")): s.price for s in advice.plan.next if s.kind == "stop"}
    return named.get(parts)


def wrong_only(advice: Advice, parts: frozenset[str]) -> float:
    """What stopping on the parts costs but for the proof: the risk of the wrong part."""
    task = advice.task
    assert task.wrong_price is not None
    right = sum(f.weight for f in task.faults if frozenset(f.parts) == parts)
    return task.wrong_price * (1 - right / sum(f.weight for f in task.faults))


def assert_one_proof(bench: Bench, items: list[Item], called: frozenset[str] | None) -> Proof:
    belief = weigh(bench.table, items)
    proof = judge_proof(belief, called)
    read = frozenset(i.test for i in items)
    advice = advise(bench, belief, read=read, called=called, deadline=None, max_expansions=2)
    price = order_price(advice, proof.parts)
    if proof.proven:
        assert price is not None, "no order step beside a proof"
        assert price == pytest.approx(wrong_only(advice, proof.parts), abs=1e-6)
    elif price is not None:
        assert price >= wrong_only(advice, proof.parts) + bench.prices.unproven - 1e-6
    return proof


def test_what_the_judge_calls_proven_costs_the_planner_no_proof_and_nothing_else_does() -> None:
    bench = Bench(SMALL, METER, Prices(), (), fits(SMALL))
    rng = np.random.default_rng(5)
    proven = again = 0
    for job in range(60):
        world = World(SMALL, METER, rng, draw_truth(SMALL, rng))
        truth = SMALL.hypotheses[world.truth].parts
        called = truth if job % 3 == 0 and len(truth) == 1 else None
        order, items = rng.permutation(list(SMALL.rows)), list[Item]()
        for test in order:
            items.append(world.read(test))
            proof = assert_one_proof(bench, items, called)
            if proof.again and not proof.open:
                again += 1
                items.append(world.read(proof.again[0], again=1))
                proof = assert_one_proof(bench, items, called)
            proven += proof.proven
    assert proven > 60 and again > 20  # both happen often


def test_the_repeat_is_offered_and_priced_as_what_is_left_of_the_proof() -> None:
    table = chain()
    bench = Bench(table, METER, Prices(), (), fits(table))
    rows = [replace(table.rows["other_half"], minutes=30.0), table.rows["half"]]
    bench = replace(bench, table=make_table(table.hypotheses, tuple(rows)))
    belief = weigh(bench.table, [answer("OL", table.rows["half"])])
    advice = advise(bench, belief, read=frozenset({"half"}), deadline=None, max_expansions=200)
    first = advice.plan.next[0]
    assert (first.kind, first.id) == ("test", "half")
    minutes = bench.prices.of_minutes(2.0)
    assert minutes < first.price < minutes + 0.05 * bench.prices.comeback + 5
    declined = advise(
        bench, belief, read=frozenset({"half"}), skipped=frozenset({"half"}), deadline=None,
        max_expansions=200,
    )  # fmt: skip
    assert declined.held["half"] == "already read"


def test_silence_is_no_reading() -> None:
    silent = Reading("none", "ohms", None, None, "ohm", "skip")
    assert judge_proof(weigh(chain(), [Item("1", "half", silent)])).open


def test_two_readings_that_both_show_a_suspect_out_are_safe_from_one_slip() -> None:
    """Two OL, each alone as likely a lost contact: only both at once bring b back."""
    found = suspects(suspect("a", 0.01), suspect("b", 0.989), suspect("other", 0.001, "other"))
    rows = tuple(make_row(id, "ohms", LOW, (OL, LOW, LOW), minutes=1.0) for id in ("end", "middle"))
    table = make_table(found, rows)
    one = judge_proof(weigh(table, [answer("OL", rows[0])]), frozenset({"A"}))
    assert one.again == ("end",)
    belief = weigh(table, [answer("OL", row) for row in rows])
    assert 0.001 < belief.of_parts()[frozenset({"B"})] < 0.01
    assert judge_proof(belief).proven
