// A root cause: yes, no or can't tell. What goes against a reading is asked once more.

import { h, key, own } from "./dom.js";

const TWICE = 350; // milliseconds within which a second touch is the same one

// `sure`: what was asked once more, as {cause, said, at}; `ask(sure)` keeps it and draws anew, and
// null once it is answered: the next time it is asked twice again. `say(said)` takes the answer. `ids`: of the keys for yes and no.
export function cause_keys(cause, { sure, ask, say, ids }) {
  const once_more = sure?.cause === cause.id ? sure : null;
  const tap = (said) => {
    if (!cause.against?.[said] || (once_more?.said === said && Date.now() - once_more.at > TWICE)) {
      if (sure) ask(null);
      say(said);
      return;
    }
    if (once_more?.said !== said) ask({ cause: cause.id, said, at: Date.now() });
  };
  const pressed = (said) => (once_more?.said === said ? true : undefined);
  return [
    once_more && h("p", { class: "card loud", role: "alert", id: "against" }, h("b", {}, "▲ That does not go with "), own(cause.against[once_more.said]),
      `. ${once_more.said === "yes" ? "Yes" : "No"} once more keeps it all the same.`),
    h("div", { class: "keys one" },
      key(`Yes: ${cause.mend}`, () => tap("yes"), { id: ids[0], pressed: pressed("yes") }),
      key("No", () => tap("no"), { id: ids[1], pressed: pressed("no") }),
      key("Can't tell", () => tap("can't tell")))];
}
