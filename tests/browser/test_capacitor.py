"""The capacitor is measured before a hand goes further, on the bench and apart, also with no
network; and a root cause against a reading is asked once more. Small invented machine."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import BrowserContext, expect

from tests.browser.shop import Shop, at_bench
from tests.browser.test_apart import go, tap
from tests.browser.test_bench import job_of, settled
from tests.browser.test_whole_walk import axe
from tests.web.test_capacitor import with_capacitor

DIODE = "controller input, diode test"


def test_the_volts_come_before_the_step_and_before_anything_further_comes_off(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job(machine=str(with_capacitor(tmp_path)), model="BT-5")
    page = at_bench(hand, running, job)
    page.click("#looks-later")
    page.evaluate("document.getElementById('others').open = true")
    page.click(f"#others button:text-is('{DIODE}')")
    reading = page.locator("#reading")
    expect(reading).to_have_attribute("aria-label", "Reading: volts on the capacitor")
    card = page.locator("#step")
    expect(card).to_contain_text("below 1 V to go on")
    expect(card).to_contain_text("First: lift the controller cover")
    expect(card).to_contain_text(f"Then{DIODE}")
    expect(card.locator(".mind")).to_contain_text("bleed it")
    assert page.locator("#slot-entry .key:has-text('Skip')").count() == 0
    violations = {"asked": axe(page)}
    for sign in "31":
        page.click(f"#pad .key:text-is('{sign}')")
    page.click("#take")
    settled(page)
    expect(page.locator("#charged")).to_contain_text("31 is not below 1 V")
    violations["charged"] = axe(page)
    assert job_of(running, job).open_steps == ()
    go(page, "apart")
    tap(page, "#take-off .key:has-text('unplug the controller')")
    expect(page.locator("#step-off h2")).to_contain_text("measure the capacitor")
    expect(page.locator("#step-off")).to_contain_text("31 is not below 1 V")
    assert page.locator("#is-off").count() == 0, "nothing further comes off"
    violations["apart"] = axe(page)
    hand.set_offline(True)  # the volts are judged on the phone, and again when they arrive
    page.fill("#f-volts", "12 V")
    page.click("#volts-read")
    expect(page.locator("#step-off")).to_contain_text("12 V is not below 1 V")
    page.wait_for_timeout(400)
    page.fill("#f-volts", "0.4 V")
    page.click("#volts-read")
    expect(page.locator("#step-off h2")).to_have_text("unplug the controller")
    hand.set_offline(False)
    settled(page)
    tap(page, "#is-off")
    it = job_of(running, job)
    assert [s.step for s in it.open_steps] == ["cover", "cap_safe", "plug"]
    assert it.open_steps[1].where == "volts on the capacitor: 0.4 V"
    assert [n.text.rpartition(": ")[2] for n in it.notes] == ["31", "12 V", "0.4 V"]
    page.click("#mode-measure")
    expect(reading).to_have_attribute("aria-label", f"Reading: {DIODE}")  # as it was chosen

    page.fill("#reading", "0.01 V")
    page.click("#take")
    settled(page)
    page.click("#call")
    page.click("dialog >> text=Controller")
    settled(page)
    if page.locator("#order").count() == 0:  # whatever else its proof wants
        page.evaluate("document.getElementById('others').open = true")
        page.click("#others .risky")
    else:
        page.click("#order")
    settled(page)
    no = page.locator("#cause-no")
    expect(page.locator("#cause")).to_contain_text("Is grass packed under the deck?")
    tap(page, "#cause-no")
    expect(page.locator("#against")).to_contain_text(f"{DIODE} 0.01 V (bad)")
    violations["against"] = axe(page)
    assert job_of(running, job).causes == ()
    page.click("#mode-apart")  # what was asked once more holds while it stands there
    page.click("#mode-measure")
    expect(page.locator("#against")).to_have_count(0)
    tap(page, "#cause-no")
    expect(page.locator("#against")).to_be_visible()
    assert job_of(running, job).causes == ()
    no.click()
    settled(page)
    assert [(c.cause, c.answer) for c in job_of(running, job).causes] == [("grass", "no")]
    assert {name: ways for name, ways in violations.items() if ways} == {}


ALONE = """
async ([wait, apart]) => {
  const { said_here, undo_here, volts_here } = await import('/static/offline.js');
  const { with_waiting } = await import('/static/apart_now.js');
  const one = (kind, body) => ({ kind, body, state: 'waiting', by: 'Ana',
    device_time: '2026-03-02T09:00:00+00:00' });
  const volts = (text) => one('CapacitorRead', { step: wait.id, text });
  const read = (id) => one('ReadingTaken', { reading_id: id, test: 'motor_ohms', text: '0.2' });
  const empty = (...queue) => volts_here(wait, queue).empty;
  const undo = (...queue) => undo_here(queue, [wait]);
  const back = one('StepClosed', { step: wait.id });
  const plug = (...queue) => with_waiting(apart, queue).steps.find((step) => step.id === 'plug');
  const cover_back = one('StepClosed', { step: 'cover' });
  return {
    empty: empty(volts('0.4 V')), then_read: empty(volts('0.4 V'), read('a')),
    two_read: empty(volts('0.4 V'), read('a'), read('b')), taken_back: empty(volts('0.4 V'), back),
    again: empty(volts('0.4 V'), read('a'), volts('0.2 V')),
    charged: empty(volts('0.4 V'), volts('40 V')),
    undo_volts: undo(read('a'), volts('0.4 V')), undo_charged: undo(read('a'), volts('31 V')),
    undo_read: undo(volts('0.4 V'), read('a')), undo_next: undo(read('a'), volts('0.4 V'), back),
    said: said_here([read('a'), volts('0.4 V'), back]).kind,
    plug: plug(), off: plug(volts('0.4 V')), shut: plug(volts('0.4 V'), cover_back),
    waits: with_waiting(apart, [volts('0.4 V'), cover_back]).off.map((off) => off.id),
    anew: plug(volts('0.4 V'), cover_back, one('StepOpened', { step: 'cover' }), volts('0.3 V')),
  };
}
"""


GATE = """
async ([view, wait]) => {
  const { charged_again, held_here } = await import('/static/offline.js');
  const one = (kind, body) => ({ kind, body, state: 'waiting' });
  const read = (test, id) => one('ReadingTaken', { reading_id: id || test, test, text: '0.6' });
  const back = (id) => one('ReadingWithdrawn', { reading_id: id });
  const volts = (text) => one('CapacitorRead', { step: wait, text });
  const shut = one('StepClosed', { step: 'cover' });
  const at = (state, charges = []) => ({ before: [], uses: [], state, charged: wait, charges });
  view.alone = { dead: at('off'), dead_too: at('off'), motor: at('out'), runs: at('on', [wait]),
    runs_too: at('on', [wait]) };
  Object.assign(view.alone.runs, { before: ['dead', 'look'], uses: ['pack'] });
  view.readings = [{ id: 'r1', test: 'dead', question: 'input ohms' }];
  const pack = [{ part: 'pack', title: 'Stop.', why: 'pack swollen: yes' }];
  const held = (test, hazards, ...queue) => held_here(test, view, queue, hazards);
  const again = (id, ...queue) => charged_again({ id }, view, queue)?.id || '';
  return {
    held: [held('runs', [], read('dead')), held('runs', [], back('r1')),
      held('runs', [], one('ReadingsTaken', { readings: [{ reading_id: 'x', test: 'look' }] })),
      held('runs', pack)],
    free: [held('runs', []), held('runs', [], read('motor')), held('dead', [], read('dead')),
      held('runs', [], read('dead', 'a'), back('a')), held('dead', pack)],
    asked: [again('dead', read('runs')), again('dead', shut), again('dead', volts('31 V')),
      again('dead', read('runs'), read('motor')), again('dead', volts('0.4 V'), read('any')),
      again('runs_too', read('runs'), shut)],
    shown: [again('dead'), again('dead', read('motor')), again('runs_too', read('runs')),
      again('dead', read('runs'), volts('0.4 V')),
      again('dead_too', read('runs'), volts('0.4 V'), read('dead'))],
  };
}
"""


def test_a_phone_alone_counts_the_volts_until_the_next_reading(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job(machine=str(with_capacitor(tmp_path)), model="BT-5")
    page = at_bench(hand, running, job)
    apart = page.evaluate(
        "async (job) => (await (await fetch(`/api/jobs/${job}`)).json()).apart", job
    )
    face = page.evaluate(
        "async (job) => (await (await fetch(`/api/jobs/${job}/plan`)).json()).volts[0]", job
    )
    view = page.evaluate("async (job) => (await fetch(`/api/jobs/${job}`)).json()", job)
    gate = page.evaluate(GATE, [view, "cap_safe"])
    assert [bool(why) for why in gate["held"]] == [True] * 4, gate["held"]
    assert gate["held"][0].startswith("It waits for “input ohms”, which the shop's computer")
    assert gate["held"][3] == "Stop. pack swollen: yes."
    assert gate["free"] == [""] * 5
    assert gate["asked"] == ["cap_safe"] * 6 and gate["shown"] == [""] * 5
    found = page.evaluate(ALONE, [face, apart])
    assert [found[name] for name in ("empty", "again")] == [True, True]
    for name in ("then_read", "two_read", "taken_back", "charged"):
        assert found[name] is False, f"{name}: it may be charged again"
    back = {"kind": "StepClosed", "body": {"step": "cap_safe"}}
    withdrawn = {"kind": "ReadingWithdrawn", "body": {"reading_id": "a", "reason": "undone"}}
    assert found["undo_volts"] == back and found["undo_charged"] is None
    assert found["undo_read"] == withdrawn and found["undo_next"] == withdrawn
    assert found["said"] == "ReadingTaken"
    assert found["plug"]["volts"]["id"] == "cap_safe" and found["off"]["volts"] is None
    assert found["shut"]["volts"]["id"] == "cap_safe", "the cover went back on, and it came off"
    assert found["waits"] == [] and found["anew"]["volts"] is None
    hand.set_offline(True)
    page.click("#looks-later")
    page.evaluate("document.getElementById('others').open = true")
    page.click(f"#others button:text-is('{DIODE}')")
    reading = page.locator("#reading")
    expect(reading).to_have_attribute("aria-label", "Reading: volts on the capacitor")
    for sign in ("0", ".", "4"):
        page.click(f"#pad .key:text-is('{sign}')")
    page.click("#take")
    expect(page.locator("#said")).to_contain_text("0.4 on the capacitor")
    expect(reading).to_have_attribute("aria-label", f"Reading: {DIODE}")
    page.click("#undo")
    expect(reading).to_have_attribute("aria-label", "Reading: volts on the capacitor")
    page.fill("#reading", "0.4")
    page.click("#take")
    page.fill("#reading", "0.6 V")
    expect(reading).to_have_attribute("aria-label", f"Reading: {DIODE}")
    page.wait_for_timeout(400)
    page.click("#take")  # out of the plan's order: no advice, and any other step is asked as ever
    page.click("#waits #free")
    page.click("#others button:text-is('motor winding')")
    expect(reading).to_have_attribute("aria-label", "Reading: volts on the capacitor")
    expect(page.locator("#step")).to_contain_text("Thenmotor winding")
    hand.set_offline(False)
    settled(page)
    it = job_of(running, job)
    assert [s.step for s in it.open_steps] == ["cover", "cap_safe", "plug"]
    assert [r.test for r in it.live_readings] == ["input_diode"]
