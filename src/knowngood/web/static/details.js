// What the plate says, noted later than at the counter, and how warm it is at the bench.

import { fold, h } from "./dom.js";
import { field, text_of } from "./fields.js";

const NAMES = [["serial", "Serial"], ["model", "Model"], ["maker", "Maker"], ["customer", "Customer"]];

export function details({ view, draft, act, show }) {
  const keep = () => {
    const body = Object.fromEntries(NAMES.map(([name]) => [name, text_of(draft, `detail-${name}`)]).filter(([, text]) => text));
    if (!Object.keys(body).length) return;
    NAMES.forEach(([name]) => { draft[`detail-${name}`] = ""; });
    act("DetailsNoted", body);
    show();
  };
  const warm = () => {
    const text = text_of(draft, "warmth");
    if (!text) return;
    draft.warmth = "";
    act("WarmthNoted", { text });
    show();
  };
  const head = view.head;
  return fold(head.serial ? "Machine and customer" : "Serial not noted yet: machine and customer",
    [h("form", { onsubmit: (event) => { event.preventDefault(); keep(); } },
      h("p", { class: "soft" }, [head.machine, head.serial && `serial ${head.serial}`, head.customer].filter(Boolean).join(", ")),
      NAMES.map(([name, label]) => field(draft, `detail-${name}`, label, { hint: head[name] })),
      h("button", { class: "key do", id: "keep-details" }, "Keep")),
    h("form", { onsubmit: (event) => { event.preventDefault(); warm(); } },
      field(draft, "warmth", "How warm is it here? It is kept with the readings from here on", { hint: head.warm || "22 C or 72 F" }),
      h("button", { class: "key", id: "keep-warmth" }, "Keep how warm"))], { id: "details" });
}
