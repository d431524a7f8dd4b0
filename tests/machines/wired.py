"""A small machine with a circuit that can be reckoned by hand: 12 V, a fuse, a switch, a heater."""

WIRED = """\
machine: wired
words: A heater
family: heater
source: common practice
sources: {parts: invented for the demo, teardown: common practice, faults: common practice,
  tests: common practice, complaints: common practice, circuit: invented for the demo,
  release: common practice}
rated_volts: 12 V
full_volts: 13 V
circuit:
  ground: B-
  elements:
    - {ref: BT, kind: battery, pins: {plus: P+, minus: P-}, volts: 12 V, ohms: 0.1 ohm}
    - {ref: J+, kind: wire, pins: {a: P+, b: B+}, ohms: 0.02 ohm, through: seat}
    - {ref: J-, kind: wire, pins: {a: P-, b: B-}, ohms: 0.02 ohm, through: seat}
    - {ref: F1, kind: fuse, pins: {a: B+, b: F}, ohms: 0.01 ohm}
    - {ref: S1, kind: switch, pins: {a: F, b: S}, ohms: 0.05 ohm}
    - {ref: H1, kind: resistor, pins: {a: S, b: B-}, ohms: 9.8 ohm}
  states: {S1: open}
  points:
    P+: {words: pack plus, open: pack_out}
    P-: {words: pack minus, open: pack_out}
    B+: {words: fuse in, open: lid}
    B-: {words: heater minus, open: lid, common: true}
    F: {words: fuse out, open: lid}
    S: {words: heater plus, open: lid}
parts:
  pack: {words: Pack, price: 50, minutes: 1, needs: pack_out}
  fuse: {words: Fuse, price: 2, minutes: 1, needs: [pack_out, lid]}
  switch: {words: Switch, price: 5, minutes: 5, needs: [pack_out, lid]}
  heater: {words: Heater, price: 15, minutes: 5, needs: [pack_out, lid]}
teardown:
  pack_out: {words: Pack out, minutes: 1, back_minutes: 1, role: source out, states: {seat: out}}
  lid: {words: Lid off, minutes: 2, back_minutes: 2}
conditions:
  dead: {words: "lid off, pack out, switch held", open: [pack_out, lid], states: {S1: closed}}
  idle: {words: "lid off, pack out", open: [pack_out, lid]}
  live: {words: "lid off, pack in, switch held", open: lid, closed: pack_out, energised: true,
    caution: One hand, states: {S1: closed}}
faults:
  pack_low: {words: pack low, mode: low, parts: pack, weight: 2,
    circuit: {set: BT.volts, to: 6 V .. 9 V}}
  fuse_open: {words: fuse blown, mode: open, parts: fuse, weight: 1, circuit: {on: F1, mode: open}}
  switch_bad: {words: switch burnt, mode: high resistance, parts: switch, weight: 2,
    circuit: {on: S1, mode: high resistance, ohms: 1 ohm .. 10 ohm}}
  switch_stuck: {words: switch welded, mode: stuck, parts: switch, weight: 0.5,
    circuit: {on: S1, mode: stuck closed}}
  switch_half: {words: switch sometimes open, mode: open, parts: switch, weight: 0.5,
    circuit: {share: 75 %, on: S1, mode: stuck open, unsteady: 40 %}}
  heater_open: {words: heater burnt through, mode: open, parts: heater, weight: 1,
    circuit: {on: H1, mode: open}}
tests:
  heater_volts:
    words: Volts at the heater
    question: volts at the heater
    probe: {read: volts, red: S, black: B-}
    condition: live
    minutes: 1
    limits: {low: 10 V, high: 13 V}
  loop_ohms:
    words: Ohms from the fuse through switch and heater
    question: the whole loop
    probe: {read: ohms, red: B+, black: B-}
    condition: dead
    minutes: 1
  worst_ohms:
    words: Ohms of fuse and switch, write the higher
    question: worst of fuse and switch
    probe: {read: ohms, pairs: [[B+, F], [F, S]], write: highest}
    condition: dead
    minutes: 2
  pack_volts:
    words: Measure the pack
    question: pack volts
    probe: {read: volts, red: P+, black: P-}
    condition: idle
    minutes: 1
complaints:
  cold:
    words: Cold
    given: {pack_low: 0.9, fuse_open: 0.9, switch_bad: 0.9, heater_open: 0.9}
release:
  off: {words: It goes cold when switched off}
"""
