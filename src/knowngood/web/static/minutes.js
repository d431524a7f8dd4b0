// The clock of each step: it runs by itself, and a person puts it right.

import { fold, h, key, own } from "./dom.js";
import { field, text_of } from "./fields.js";

export function minutes(at) {
  const { apart, memory, set, act, draft } = at;
  if (!apart.minutes.length) return null;
  const total = apart.minutes.reduce((sum, one) => sum + one.minutes, 0);
  const keep = (one) => {
    const said = Number(text_of(draft, "minutes").replace(",", "."));
    if (!text_of(draft, "minutes") || !Number.isFinite(said) || said < 0) return;
    act("MinutesMended", { what: one.what, minutes: said, reason: text_of(draft, "minutes-why") });
    draft.minutes = draft["minutes-why"] = "";
    set({ time: "" });
  };
  return fold(`Time: ${Math.round(total)} min`, h("ul", { class: "rows" }, apart.minutes.map((one) => h("li", {},
    h("p", {}, own(one.words), " ", h("b", {}, `${one.minutes} min`), h("span", { class: "soft" }, ` ${one.how}`, one.by && [", ", own(one.by)])),
    memory.time === one.what
      ? h("form", { onsubmit: (event) => { event.preventDefault(); keep(one); } },
        field(draft, "minutes", "Minutes it took", { mode: "decimal", most: 8 }), field(draft, "minutes-why", "Why the clock was wrong"),
        h("button", { class: "key do" }, "Put it right"))
      : key("Put right", () => set({ time: one.what }), { label: `Put right: ${one.words}` })))), { id: "time" });
}
