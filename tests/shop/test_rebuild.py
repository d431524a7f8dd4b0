"""The rebuild against random teardowns: whatever came off how, it goes back in an order that works.

No published rule covers this; that a cover closes after what is inside it is a matter of geometry,
and that the source of energy goes in last is common practice (29 CFR 1910.147(e) asks the same of
locked-out machines: the work area inspected before energy is restored).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.machines.machine import Fastener
from knowngood.places.library import find_machine, wired
from knowngood.shop.off import Off, all_needs, fasteners_words, moves_leads, off_of
from knowngood.shop.rebuild import (
    CauseToClear,
    ControlProof,
    PartToFit,
    bench_tests,
    control_proofs,
    next_lines,
    put_back,
    rebuild_lines,
    rebuild_order,
    while_closing,
)


@st.composite
def teardowns(draw: st.DrawFn) -> tuple[Off, ...]:
    """Steps in an order in which they can come off: each needs only some before it."""
    size = draw(st.integers(0, 12))
    steps: list[Off] = []
    for n in range(size):
        before = [one.id for one in steps]
        needs = draw(st.lists(st.sampled_from(before), unique=True)) if before else []
        role = draw(st.sampled_from(["", "", "", "shell", "source out", "discharge"]))
        count = 0 if role == "discharge" else draw(st.integers(0, 9))
        screws = (Fastener(count, "T25"),) if count else ()
        leads = draw(st.booleans())
        steps.append(Off(f"s{n}", f"step {n}", tuple(needs), role, screws, leads=leads))  # type: ignore[arg-type]
    return tuple(steps)


@given(teardowns())
def test_every_dependency_is_kept(off: tuple[Off, ...]) -> None:
    order = [one.id for one in rebuild_order(off)]
    assert sorted(order) == sorted(one.id for one in off)
    place = {id: n for n, id in enumerate(order)}
    for one in off:
        for need in one.needs:
            assert place[one.id] < place[need], "what rests on a step goes back before it"


@given(teardowns())
def test_the_source_of_energy_goes_in_last(off: tuple[Off, ...]) -> None:
    order = rebuild_order(off)
    needs = {one.id: one.needs for one in off}
    under = all_needs(needs, [one.id for one in off if one.role == "source out"])
    kinds = [one.id in under for one in order]
    assert kinds == sorted(kinds), "only the source and what it rests on come after the rest"


@given(teardowns())
def test_without_needs_it_is_simply_backwards(off: tuple[Off, ...]) -> None:
    plain = tuple(Off(one.id, one.words) for one in off)
    assert [one.id for one in rebuild_order(plain)] == [one.id for one in reversed(plain)]


@given(teardowns(), st.data())
def test_lines_put_each_step_back_once_with_its_fasteners(
    off: tuple[Off, ...], data: st.DataObject
) -> None:
    needs = data.draw(st.lists(st.sampled_from([o.id for o in off]), unique=True)) if off else []
    part = PartToFit("p", "switch", "N-1", tuple(needs))
    proof = ControlProof("t", "chain", "chain", opens=tuple(needs))
    cause = CauseToClear("c", "grass", "Is there grass?", "Scrape it out")
    lines = rebuild_lines(off, [part], [cause], [proof])
    ids = [line.id for line in lines]
    assert len(ids) == len(set(ids))
    shut = [one for one in off if not one.nothing_to_shut]
    assert sorted(line.about for line in lines if line.kind == "back") == sorted(
        one.id for one in shut
    )
    back = sum(line.count for line in lines if line.kind == "back")
    assert back == sum(one.count for one in off)
    assert [line.count for line in lines if line.kind == "count"] == ([back] if back else [])
    waits = sum(one.nothing_to_shut for one in off)
    assert all(line.kind == "discharge" for line in lines[:waits]), "the capacitor, once more"
    assert ids[waits : waits + 2] == ["cause:c", "part:p"], "then cause and part in hand"
    fit = ids.index("fit:p")
    assert ids[fit - 1] == "tag:p", "the old part is tagged before the new one goes in"
    for one in shut:
        if one.id in all_needs({o.id: o.needs for o in off}, needs):
            assert fit < ids.index(f"back:{one.id}"), "the part goes in while it can"
    shells = [ids.index(f"back:{one.id}") for one in off if one.role == "shell"]
    proofs = [n for n, line in enumerate(lines) if line.kind == "prove"]
    if shells:
        assert proofs, "controls are proven before the shell closes"
        if all(line.about == "" for line in lines if line.kind == "prove"):
            assert max(proofs) < min(shells)
    for one in off:
        if one.role == "shell":
            assert ids.index(f"pinch:{one.id}") < ids.index(f"back:{one.id}")
    assert sum(line.kind == "direction" for line in lines) == int(any(o.leads for o in off))


@given(teardowns())
def test_steps_put_back_in_this_order_never_close_over_something(off: tuple[Off, ...]) -> None:
    left = off
    for one in rebuild_order(off):
        if not one.nothing_to_shut:
            left = put_back(left, one.id)
    assert [one for one in left if not one.nothing_to_shut] == []


PACK = Off("pack_out", "Pack out", role="source out")
COVER = Off("cover", "Cover off", role="shell", fasteners=(Fastener(8, "T25", "20 mm", "rim"),),
            traps=("two long ones at the rear",))  # fmt: skip
WAIT = Off("cap_safe", "Wait and measure", ("pack_out", "cover"), "discharge")
PLUG = Off("plug", "Three phase leads off", ("cover",), leads=True)


def test_the_mower_reads_as_a_technician_would_do_it() -> None:
    lines = rebuild_lines(
        (COVER, PACK, WAIT, PLUG),  # the cover came off first, yet the pack goes in last
        [PartToFit("controller", "Controller", "BW-1", ("plug",))],
        [CauseToClear("grass", "grass packed in", "Grass?", "Scrape it clean", found=True)],
    )
    assert [line.id for line in lines] == [
        "discharge:cap_safe", "cause:grass", "part:controller", "tag:controller",
        "fit:controller", "back:plug", "prove:controls", "again:cap_safe", "pinch:cover",
        "back:cover", "back:pack_out", "count", "direction",
    ]  # fmt: skip
    cover = next(line for line in lines if line.id == "back:cover")
    assert cover.hints == ("two long ones at the rear",), "the trap is said where it bites"
    assert cover.fasteners == "8 x T25, 20 mm (rim)"
    assert cover.inside == ("plug",)


def test_a_pack_is_fitted_when_all_else_is_closed() -> None:
    lines = rebuild_lines((PACK, COVER), [PartToFit("pack", "Battery pack")])
    assert [x.id for x in lines if x.kind in ("fit", "back")] == [
        "back:cover", "fit:pack", "back:pack_out",
    ]  # fmt: skip


def test_a_control_is_proven_while_its_plug_is_still_off() -> None:
    proof = ControlProof("chain", "Ohms of the chain", "chain", "below 1 ohm",
                         ("pack_out", "cover", "cap_safe", "plug"))  # fmt: skip
    never = ControlProof("fold", "Ohms at the fold", "fold", opens=("sleeve",))
    ids = [x.id for x in rebuild_lines((PACK, COVER, WAIT, PLUG), [], [], [proof, never])]
    assert ids[1:3] == ["prove:chain", "back:plug"]
    assert "prove:fold" not in ids, "nothing further is opened to prove it"


def test_a_ring_of_needs_ends_all_the_same() -> None:
    ring = (Off("a", "a", ("b",)), Off("b", "b", ("a",)))
    assert [one.id for one in rebuild_order(ring)] == ["b", "a"]


def test_what_is_inside_is_named() -> None:
    with pytest.raises(ValueError, match="still off inside it: Three phase leads off"):
        put_back((PACK, COVER, PLUG), "cover")


def test_three_lines_for_who_comes_back() -> None:
    lines = rebuild_lines((PACK, COVER, WAIT, PLUG))
    assert [x.id for x in next_lines(lines, ["discharge:cap_safe", "back:plug"])] == [
        "prove:controls", "again:cap_safe", "pinch:cover",
    ]  # fmt: skip


def test_the_shipped_mower_proves_its_chain_before_the_plug_goes_on() -> None:
    machine = find_machine("mower-battery-56v").it
    off = tuple(off_of(t) for t in machine.teardown if t.id in
                ("pack_out", "cover", "cap_safe", "switch_plug"))  # fmt: skip
    ids = [x.id for x in rebuild_lines(off, [], [], control_proofs(machine))]
    assert ids.pop(0) == "discharge:cap_safe"
    assert ids == [
        "prove:chain_ohms", "prove:chain_released", "prove:start_ohms", "back:switch_plug",
        "again:cap_safe", "pinch:cover", "back:cover", "back:pack_out", "count",
    ]  # fmt: skip


def test_a_proof_comes_when_the_plug_it_reads_through_is_together() -> None:
    """The chainsaw's chain reads through the plug of the brake switch (its wiring, W4); the brake
    switch alone is asked while that plug is parted."""
    machine = find_machine("chainsaw-56v").it
    steps = {t.id: off_of(t) for t in machine.teardown}
    for names in (
        "pack_out chain_off shell cap_safe switch_plug brake_housing brake_plug",
        "pack_out chain_off brake_housing brake_plug shell cap_safe switch_plug",
    ):
        off = tuple(steps[name] for name in names.split())
        ids = [x.id for x in rebuild_lines(off, [], [], control_proofs(machine))]
        assert ids.index("prove:brake_cycles") < ids.index("back:brake_plug")
        assert ids.index("back:brake_plug") < ids.index("prove:chain_ohms"), names
        assert ids.index("prove:chain_ohms") < ids.index("back:switch_plug")
        assert "prove:trigger_ohms" in ids


def test_a_loose_trigger_is_not_asked_through_the_brake_switch() -> None:
    machine = wired(find_machine("chainsaw-56v").it, None)
    asks = bench_tests(machine, "trigger_switch")
    assert asks and not any("in series" in ask for ask in asks), asks


@pytest.mark.parametrize(
    ("caution", "left"),
    [
        ("Pack out before the first screw.", ""),
        ("Key and pack out first.", ""),
        ("Pack out, gloves - cutters.", "Gloves - cutters."),
        ("Plug lead off; fins are sharp.", "Fins are sharp."),
        ("Eye protection, brake released first, a rag over the spring.",
         "Eye protection, brake released first, a rag over the spring."),
        ("Negative off first, on last; the wrench must not bridge plus and frame.",
         "Negative off first, on last; the wrench must not bridge plus and frame."),
        ("Pack out, bar and chain off before the first screw; oil tank empty or cap up.",
         "Oil tank empty or cap up."),
        ("Before anything else; the cut-off blade is sharp.", "The cut-off blade is sharp."),
    ],
)  # fmt: skip
def test_at_closing_only_what_counts_then(caution: str, left: str) -> None:
    assert while_closing(caution) == left


def test_the_rider_gets_its_minus_clamp_last_and_the_seat_after_it() -> None:
    machine = find_machine("rider-start-12v").it
    off = tuple(off_of(t) for t in machine.teardown)
    order = [one.id for one in rebuild_order(off)]
    assert order[-2:] == ["bat_neg", "seat_up"]


@pytest.mark.parametrize(
    ("words", "moved"),
    [
        ("Three phase leads and the Hall plug off the controller", True),
        ("Motor plug off", True),
        ("Motor cover off", False),
        ("Four-pin switch plug off the controller", False),
    ],
)
def test_leads_of_what_turns(words: str, moved: bool) -> None:
    assert moves_leads(words) is moved


def test_fasteners_in_words() -> None:
    said = fasteners_words([Fastener(6, "T25", "20 mm", "rim"), Fastener(1, "15 mm hex")])
    assert said == "6 x T25, 20 mm (rim); 1 x 15 mm hex"
