// Without the shop's computer: walk the plan that it sent while it was reached. Only numbers against
// band edges are compared here; what a reading proves is never worked out on the phone.

const NUMBER = /^\s*([+-]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*(.*)$/;

// The reading as the plan needs it: {over}, {word}, {low, high} in base units, or null.
export function read(text, face) {
  const said = text.trim().toLowerCase();
  if (said === "ol" || said === "open") return { over: true };
  if (said === "yes" || said === "no") return { word: said };
  const parts = said.split(/ to /);
  const values = parts.map((part) => value_of(part, face));
  if (values.some((value) => value === null) || values.length > 2) return null;
  return { low: Math.min(...values), high: Math.max(...values) };
}

function value_of(text, face) {
  const found = NUMBER.exec(text);
  if (!found) return null;
  const worth = worth_of(found[3].trim(), face.keys);
  if (!worth) return null;
  const size = Number(found[2].replace(",", "."));
  return (found[1] === "-" ? -size : size) * worth;
}

function worth_of(unit, keys) {
  if (!unit) return keys.must ? 0 : 1;
  const named = keys.units.find((one) =>
    one.text.toLowerCase() === unit || one.sign.toLowerCase() === unit);
  return named ? named.worth : 0;
}

function branch_for(node, said) {
  return node.then.find((branch) => {
    if (said.over) return branch.outcomes.includes("over");
    if (said.word) return branch.outcomes.includes(said.word);
    if (!branch.outcomes[0].startsWith("band")) return false;
    const above = branch.low === null || said.low >= branch.low;
    const below = branch.high === null || said.high < branch.high;
    return above && below;
  });
}

// Where the plan leads after these readings [{test, text}]. Returns {node} or {waits: why}.
export function walk(plan, meter, readings) {
  if (!plan) return { waits: "No plan was sent to this phone yet." };
  if (plan.meter !== meter) {
    return { waits: "The plan on this phone is for another meter." };
  }
  let node = plan.policy;
  for (const one of readings) {
    if (node.cut || node.stop) return { waits: "The plan on this phone ends here." };
    if (node.do.id !== one.test) {
      return { waits: "A reading was taken out of the plan's order." };
    }
    const face = plan.tests[one.test];
    const said = face && read(one.text, face);
    if (!said) return { waits: `“${one.text}” is kept as it is; what it says is worked out later.` };
    const branch = branch_for(node, said);
    if (!branch) return { waits: "The plan on this phone did not foresee this reading." };
    node = branch.next;
  }
  if (node.cut) return { waits: "The plan on this phone ends here." };
  return { node };
}

// A place of the plan as the step that the bench shows.
export function step_of(node, plan) {
  if (!node.do) return null;
  const { do: one } = node;
  const words = one.first.map((step) => step.words), minding = one.first.map((step) => step.minding);
  const wait = plan.volts?.find((face) => words.includes(face.words));
  const before = wait ? words.indexOf(wait.words) : 0;
  return {
    ...plan.blank, ...one, ...plan.tests[one.id], opens: words, minding, closes: one.back,
    minutes: one.minutes ? `${one.minutes} min` : "", same: null,
    discharge: wait ? { ...wait, opens: words.slice(0, before), minding: minding.slice(0, before) } : null,
  };
}

const ENDS = new Set(["ReadingTaken", "ReadingsTaken", "StepClosed"]);
const VOLTS = { keys: { units: [{ text: "V", sign: "V", worth: 1 }, { text: "mV", sign: "mV", worth: 1e-3 }], must: false } };

// What waits on this phone of the volts on a capacitor: {empty, said}; words that are no number are
// judged by the shop's computer. They count until the next reading, which may be a live one that
// charges it again, or until they were taken back.
export function volts_here(wait, waiting) {
  const since = waiting.findLastIndex((one) => ENDS.has(one.kind)) + 1;
  const last = waiting.slice(since).filter((one) => one.state === "waiting" && one.kind === "CapacitorRead" && one.body.step === wait.id).at(-1);
  if (!last) return { empty: false, said: "" };
  const found = read(last.body.text, VOLTS);
  if (found?.high === undefined) return { empty: false, said: `“${last.body.text}” is judged later` };
  const most = Math.max(Math.abs(found.low), Math.abs(found.high));
  return most < wait.below ? { empty: true, said: "" } : { empty: false, said: `${last.body.text} is not below ${wait.below} V` };
}

// The readings that wait on this phone, those taken back left out.
export function readings_here(waiting) {
  const back = new Set(waiting.filter((one) => one.kind === "ReadingWithdrawn").map((one) => one.body.reading_id));
  return waiting.flatMap(read_in).filter((one) => !back.has(one.reading_id));
}

const read_in = (one) => (one.kind === "ReadingsTaken" ? one.body.readings : one.kind === "ReadingTaken" ? [one.body] : []);

// Why a test that was chosen here may not be taken before the shop's computer is reached, "" if it
// may: what it waits for was read or taken back and is not judged yet, or it needs a part that must
// be left alone. `hazards`: those parts, also by what waits on this phone.
export function held_here(test, view, waiting, hazards) {
  const it = view.alone?.[test];
  if (!it) return "";
  const unsafe = hazards.find((one) => it.uses.includes(one.part));
  if (unsafe) return `${unsafe.title} ${unsafe.why}.`;
  const back = waiting.filter((one) => one.kind === "ReadingWithdrawn").map((one) => view.readings.find((read) => read.id === one.body.reading_id)?.test);
  const unsure = new Set([...readings_here(waiting).map((one) => one.test), ...back]);
  const first = it.before.find((id) => unsure.has(id));
  if (!first) return "";
  const words = [view.step, ...view.others, ...view.looks].find((one) => one?.id === first)?.question || view.readings.find((one) => one.test === first)?.question || first;
  return `It waits for “${words}”, which the shop's computer has to judge first. Tests with the source out can go on.`;
}

// The capacitor on the way to a step that was shown empty before this phone was alone, and may be
// charged again: by a live reading here, by what went back, or as it reads. Still in the state that
// charged it, it is not asked for: the supply is on.
export function charged_again(step, { alone, volts }, waiting) {
  const it = alone?.[step.id], face = volts?.find((one) => one.id === it?.charged);
  if (!face) return null;
  let charged = false, state = "";
  for (const one of waiting.filter((one) => one.state === "waiting")) {
    if (one.kind === "StepClosed") [charged, state] = [true, ""];
    if (one.kind === "CapacitorRead" && one.body.step === face.id) [charged, state] = [!volts_here(face, [one]).empty, ""];
    for (const { test } of read_in(one)) {
      charged ||= !alone[test] || alone[test].charges.includes(face.id);
      state = alone[test]?.state || "";
    }
  }
  return charged && state !== it.state ? face : null;
}

// What was said last on this phone and not sent yet, as an entry, those taken back left out.
export function said_here(waiting) {
  const back = new Set(waiting.filter((one) => one.kind === "ReadingWithdrawn").map((one) => one.body.reading_id));
  const shut = (id) => waiting.findLastIndex((one) => one.kind === "StepClosed" && one.body.step === id);
  return waiting.filter((one, n) => (one.kind === "ReadingTaken" && !back.has(one.body.reading_id))
    || one.kind === "ReadingsTaken" || (one.kind === "CapacitorRead" && shut(one.body.step) < n)).at(-1);
}

// The entry {kind, body} that takes it back, or null: several looks, or volts that showed nothing.
// `faces`: the capacitors that may be asked.
export function undo_here(waiting, faces) {
  const last = said_here(waiting);
  if (last?.state !== "waiting" || last.kind === "ReadingsTaken") return null;
  if (last.kind === "ReadingTaken") return { kind: "ReadingWithdrawn", body: { reading_id: last.body.reading_id, reason: "undone" } };
  const wait = faces.find((face) => face.id === last.body.step);
  return wait && volts_here(wait, waiting).empty ? { kind: "StepClosed", body: { step: wait.id } } : null;
}
