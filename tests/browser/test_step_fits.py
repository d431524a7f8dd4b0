"""Every step of every shipped machine on a phone of 390 x 844: what matters is in sight at once.

Keys of 19 mm for gloved hands: MIL-STD-1472E, at 390 px 115 x 76 CSS px; keys beside the keypad at
least 56 px (limits set for the screen).
"""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import BrowserContext

from knowngood.diagnosis.steps import cautions_at, way_there
from knowngood.machines.machine import Machine, Test
from knowngood.web.step_face import BLANK
from knowngood.web.step_view import test_face as face_of
from tests.browser.shop import Shop, at_bench
from tests.browser.test_bench import settled, to_volts
from tests.machines.test_state_and_cautions import MACHINES

pytestmark = pytest.mark.slow

SHOWN = """
async ([steps, wanted]) => {
  const { step_card } = await import('/static/bench_step.js');
  const { bring_in_sight, keypad } = await import('/static/keypad.js');
  const [ahead, entry, said] = ['ahead', 'entry', 'said'].map(
    (name) => document.getElementById(`slot-${name}`));
  const bad = [];
  for (const step of steps) {
    ahead.replaceChildren(step_card(step, { numbers: [11, 12] }));
    const { line, pad } = keypad(step, '', { take() {}, changed() {} });
    entry.replaceChildren(line, pad);
    bring_in_sight(ahead, entry, said, true);
    await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
    const gone = said.offsetHeight && said.getBoundingClientRect().top < 0;
    if (gone) bad.push([step.id, 'what was proven last is gone']);
    const keys = [...pad.querySelectorAll('.digits .key'), ...line.querySelectorAll('.key')];
    for (const key of keys) {
      const r = key.getBoundingClientRect();
      const [low, wide] = key.closest('.digits') ? [76, 115] : [56, 56];
      const top = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
      const small = r.height < low - 0.1 || r.width < wide - 0.1;
      if (r.bottom > innerHeight || small || !key.contains(top)) {
        bad.push([step.id, key.innerText, 'not in sight or too small', r.top, r.width, r.height]);
      }
    }
    const edge = line.getBoundingClientRect().top;
    for (const name of wanted) {
      const part = ahead.querySelector(name);
      if (!part) continue;
      const shown = part.open ? part.querySelector('summary') : part;
      const r = shown.getBoundingClientRect();
      if (r.height && (r.bottom > edge + 1 || r.top < 0)) {
        bad.push([step.id, name, 'behind the keypad', r.top, r.bottom]);
      }
    }
    if (document.documentElement.scrollWidth > innerWidth) bad.push([step.id, 'is too wide']);
  }
  return bad;
}
"""


QUICK = """
async ([steps, wanted]) => {
  const { step_card } = await import('/static/bench_step.js');
  const { keypad, room_for } = await import('/static/keypad.js');
  const ahead = document.getElementById('slot-ahead');
  const entry = document.getElementById('slot-entry');
  const bad = [];
  let fits = 0;
  for (const step of steps) {
    ahead.replaceChildren(step_card(step, { numbers: [11, 12] }));
    const { line, pad, fit } = keypad(step, '', { take() {}, changed() {} });
    entry.replaceChildren(line, pad);
    scrollTo(0, 0);
    const space = room_for(ahead, line, pad);
    const { room } = space;
    fit(space);
    const digit = pad.querySelector('.digits .key').getBoundingClientRect().top;
    fits += room;
    const edge = line.getBoundingClientRect().top;
    for (const name of room ? wanted : []) {
      const part = ahead.querySelector(name);
      const shown = part?.open ? part.querySelector('summary') : part;
      if (shown?.offsetHeight && shown.getBoundingClientRect().bottom > edge + 1) {
        bad.push([step.id, name, 'is hidden']);
      }
    }
    const field = line.querySelector('.field');
    field.value = '5';
    field.dispatchEvent(new Event('input'));
    const after = pad.querySelector('.digits .key').getBoundingClientRect().top;
    if (Math.abs(after - digit) > 1) bad.push([step.id, 'digits moved', after - digit]);
    const keys = [...line.querySelectorAll('.quick .key')];
    const words = keys.map((key) => key.innerText);
    const wants = [...step.keys.units.map((unit) => unit.sign), "As expected", "Can't tell"];
    if (!wants.every((sign) => words.includes(sign))) bad.push([step.id, words]);
    const at = keys.map((key) => key.getBoundingClientRect());
    for (const [n, r] of at.entries()) {
      const apart = n && r.top === at[n - 1].top ? r.left - at[n - 1].right : 8;
      const top = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
      const small = r.height < 56 || r.width < 55.9 || apart < 7.9;
      if (small || r.right > innerWidth || !keys[n].contains(top)) {
        bad.push([step.id, words[n], r.width, r.height, apart]);
      }
    }
  }
  return [bad, fits];
}
"""


@pytest.mark.parametrize("said", [False, True], ids=["first", "after a reading"])
def test_units_and_answers_without_a_figure_are_in_reach_with_the_digits(
    running: Shop, hand: BrowserContext, said: bool
) -> None:
    """Always where the step leaves room for them, else from the first digit on."""
    page = at_bench(hand, running, running.open_job())
    to_volts(page)
    if said:
        page.fill("#reading", "57.9")
        page.click("#take")
        settled(page)
    steps = [card_of(m, t) for m in MACHINES.values() for t in m.tests if t.quantity != "yes_no"]
    wanted = [".step-words", ".first:not(.live-way)", ".mind", ".points"]
    bad, fits = page.evaluate(QUICK, [steps, wanted])
    assert bad == []
    assert said or fits > 0.45 * len(steps), "always there on every other step as far off as can be"


def card_of(machine: Machine, test: Test) -> dict[str, Any]:
    """The step as the bench gets it when nothing is open yet: the longest way there."""
    condition = next(c for c in machine.conditions if c.id == test.condition)
    way = way_there(machine, condition, frozenset())
    return BLANK | {
        "kind": "test", "id": f"{machine.id} {test.id}", "words": test.words,
        "minutes": f"{test.minutes + way.minutes:g} min", "condition": condition.words,
        "held": list(condition.held), "opens": [s.words for s in way.off],
        "minding": [s.caution for s in way.off],
        "out_first": [s.words for s in way.off if s.role == "source out"],
        "closes": [s.goes_back for s in way.back],
        "red": test.red, "black": test.black, "expect": test.good_reads,
        "cautions": list(cautions_at(condition, test)), "energised": condition.energised,
        "costs_more": "", **face_of(machine, test),
    }  # fmt: skip


@pytest.mark.parametrize("said", [False, True], ids=["first", "after a reading"])
def test_step_cautions_points_and_digits_are_in_sight(
    running: Shop, hand: BrowserContext, said: bool
) -> None:
    page = at_bench(hand, running, running.open_job())
    to_volts(page)
    if said:
        page.fill("#reading", "57.9")
        page.click("#take")
        settled(page)
    steps = [card_of(m, t) for m in MACHINES.values() for t in m.tests]
    assert len(steps) > 400
    wanted = [".step-words", ".first:not(.live-way)", ".mind", ".points"]
    found = page.evaluate(SHOWN, [steps, wanted])
    assert found == []


def test_cautions_open_in_one_tap(running: Shop, hand: BrowserContext) -> None:
    page = at_bench(hand, running, running.open_job())
    to_volts(page)
    whole = page.locator("#mind p").first
    assert not whole.is_visible()
    page.click("#mind summary")
    assert whole.is_visible() and "damaged pack goes outdoors" in whole.inner_text()
