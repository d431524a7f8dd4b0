// Parts while typing: the list of what is found follows the field; Enter gives the whole page.

const field = document.getElementById("q");
const list = document.getElementById("found");
const WAIT = 120;  // ms after the last key
let timer = 0;
let asked = 0;

const line = (words, name, soft) => {
  const p = document.createElement("p");
  for (const [tag, text] of [[name, words], ["span", soft]]) {
    if (!text) continue;
    const one = document.createElement(tag);
    if (tag === "span") one.className = "soft";
    one.textContent = text;
    p.append(one, " ");
  }
  return p;
};

const card = (one) => {
  const item = document.createElement("li");
  item.className = "card";
  item.append(line(one.number, "b", one.words), line(`${one.price} ${one.currency}`, "bdi", one.maker));
  if (one.became) {
    const became = line(`became ${one.became}: look it up before it is ordered`, "bdi", "");
    became.className = "mind";
    item.append(became);
  }
  return item;
};

const look = async () => {
  const text = field.value.trim();
  const mine = ++asked;
  if (!text) return list.replaceChildren();
  try {
    const answer = await fetch(`/api/parts?q=${encodeURIComponent(text)}`);
    if (!answer.ok) return;
    const found = await answer.json();
    if (mine !== asked) return;  // an older answer that came late
    document.getElementById("none")?.remove();
    list.replaceChildren(...found.map(card));
  } catch { /* no connection: Enter says so */ }
};

field.addEventListener("input", () => {
  clearTimeout(timer);
  timer = setTimeout(look, WAIT);
});
