"""What a bench session shows to be ticked: looks without a tool, what the customer tried."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from knowngood.cli.show import wrapped
from knowngood.diagnosis.steps import opening_order
from knowngood.machines.machine import Machine, Test
from knowngood.places.complaints import good_answer
from knowngood.places.gather import View


def look_list(view: View, tests: Sequence[Test]) -> Iterator[str]:
    """What can be seen without a tool, to tick; before it what has to be out or off for it."""
    yield ""
    yield "Look first, no tool needed:"
    states = (view.machine.state_of(test) for test in tests)
    wanted = dict.fromkeys(step for state in states for step in state.open)
    steps = {s.id: s for s in view.machine.teardown}
    for off in opening_order(view.machine, wanted, view.evidence.opened):
        yield from wrapped(steps[off].words, "  first: ")
        if steps[off].caution:
            yield from wrapped(steps[off].caution, "    ! ")
    for number, test in enumerate(tests, start=1):
        yield from wrapped(f"{test.question} (good: {good_answer(test)})", f"  {number}. ")
        if test.caution:
            yield from wrapped(test.caution, "     ! ")
    yield from wrapped(
        'Type "none" when all is good, the numbers that are not ("2 5"), "3?" for can\'t tell, '
        "or skip."
    )


def told_list(machine: Machine) -> Iterator[str]:
    """What the customer may have tried, to tick."""
    yield ""
    yield "What has been tried or seen already?"
    for number, told in enumerate(machine.told, start=1):
        yield from wrapped(told.words, f"  {number}. ")
    yield 'Type the numbers, "nothing", or skip.'
