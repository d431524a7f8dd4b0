// Suggestions while typing, from what this phone knows and what the shop's computer answered.

const MOST = 4;
const words_of = (text) => text.toLowerCase().split(/[\s-]+/).filter(Boolean);

const begins = (name, words) => {
  const has = words_of(name);
  return words.every((word) => has.some((one) => one.startsWith(word)));
};

export function customers_like(text, answered, here) {
  const words = words_of(text);
  if (!words.length) return [];
  const found = new Map();
  for (const one of [...answered, ...here]) {
    if (begins(one.name, words) && !found.has(one.name)) found.set(one.name, one);
  }
  return [...found.values()].slice(0, MOST);
}

// By maker, model, or what the machine's file calls it: "chainsaw".
export function machines_like(text, models, machines) {
  const words = words_of(text);
  if (!words.length) return [];
  const plain = (name) => name.toLowerCase().replace(/[^a-z0-9]/g, "");
  const called = (one) => machines.find((it) => it.id === one.machine)?.words || "";
  return models.filter((one) => begins(`${one.maker} ${one.model} ${called(one)}`, words)
    || plain(one.model).includes(plain(text) || "-")).slice(0, MOST);
}
