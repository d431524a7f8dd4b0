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

// Nothing is listed: why, or "" where nothing was asked. What was found for another text goes.
const nothing = (why) => {
  const words = document.createElement("li");
  words.id = "none";
  words.textContent = why;
  list.replaceChildren(...(why ? [words] : []));
};

const look = async () => {
  const text = field.value.trim();
  const mine = ++asked;
  document.querySelector("p#none")?.remove();
  if (!text) return nothing("");
  let found = null;
  try {
    const answer = await fetch(`/api/parts?q=${encodeURIComponent(text)}`);
    if (answer.ok) found = await answer.json();
  } catch { /* said below */ }
  if (mine !== asked) return;  // an older answer that came late
  if (!found) nothing("The shop's computer did not answer; press Find to try again.");
  else if (!found.length) nothing([`No list has “${text}”.`, list.dataset.lists].filter(Boolean).join(" "));
  else list.replaceChildren(...found.map(card));
};

field.addEventListener("input", () => {
  clearTimeout(timer);
  timer = setTimeout(look, WAIT);
});
