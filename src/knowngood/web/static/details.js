// What the plate says, noted later than at the counter.

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
  const head = view.head;
  return fold(head.serial ? "Machine and customer" : "Serial not noted yet: machine and customer",
    h("form", { onsubmit: (event) => { event.preventDefault(); keep(); } },
      h("p", { class: "soft" }, [head.machine, head.serial && `serial ${head.serial}`, head.customer].filter(Boolean).join(", ")),
      NAMES.map(([name, label]) => field(draft, `detail-${name}`, label, { hint: head[name] })),
      h("button", { class: "key do", id: "keep-details" }, "Keep")), { id: "details" });
}
