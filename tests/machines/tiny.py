"""A small sound machine file that the tests break in one place at a time."""

TINY = """\
machine: tiny
words: A cordless fan
family: fan
source: common practice
sources: {parts: invented for the demo, teardown: common practice, faults: common practice,
  tests: common practice, complaints: common practice, release: common practice}
rated_volts: 20 V
full_volts: 21 V
parts:
  pack: {words: Pack, price: 50, minutes: 1, numbers: [{number: A-1}], needs: pack_out}
  switch: {words: Switch, price: 5, minutes: 5, numbers: [{number: B-1}],
    needs: [pack_out, cap_safe]}
teardown:
  pack_out: {words: Pack out, minutes: 1, back_minutes: 1, role: source out}
  shell: {words: Shell open, minutes: 3, back_minutes: 4, role: shell}
  cap_safe: {words: Measure the capacitor, minutes: 3, back_minutes: 0, needs: [pack_out, shell],
    role: discharge}
conditions:
  outside: {words: pack out, open: pack_out}
  dead: {words: shell open and dead, open: [pack_out, cap_safe]}
  live: {words: shell open and live, open: shell, closed: [pack_out, cap_safe], energised: true,
    caution: One hand}
faults:
  pack_dead: {words: pack dead, mode: open, parts: pack, weight: 2}
  switch_open: {words: switch open, mode: open, parts: switch, weight: 1}
tests:
  pack_volts:
    words: Measure the pack
    question: pack volts
    quantity: volts
    condition: outside
    minutes: 1
    good: 20 V .. 21 V
    limits: {low: 19 V, high: 21.5 V}
    expect: {pack_dead: 0 V .. 5 V}
  switch_ohms:
    words: Ohms of the switch
    question: switch
    quantity: ohms
    condition: dead
    minutes: 1
    good: 0 ohm .. 0.5 ohm
    expect: {switch_open: OL}
  switch_volts:
    words: Volts behind the switch
    question: volts behind the switch
    quantity: volts
    condition: live
    minutes: 1
    good: 20 V .. 21 V
    expect:
      pack_dead, switch_open: 0 V .. 5 V
complaints:
  dead:
    words: Dead
    given: {pack_dead: 0.9, switch_open: 0.9}
release:
  stops: {words: It stops when switched off}
fixed_order: [pack_volts, switch_ohms, switch_volts]
"""


def broken(*changes: tuple[str, str]) -> str:
    """TINY with each old text, which must be there once, changed into the new one."""
    text = TINY
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
        text = text.replace(old, new)
    return text


def line_with(text: str, part: str) -> int:
    """The number of the first line that holds `part`."""
    return next(n for n, line in enumerate(text.split("\n"), 1) if part in line)
