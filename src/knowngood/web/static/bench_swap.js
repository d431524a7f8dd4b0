// A card that changes though nothing was answered says so, and what stood there before.

import { h, key, own } from "./dom.js";

export function make_swap() {
  let stood = null; // the step that stood here last, and after how many answers
  let swapped = null; // the step that another one took the place of without an answer
  return {
    // `answers`: counts what was answered so far; `picked`: the person chose this step.
    note(step, answers, picked) {
      const another = step && stood && stood.id !== step.id;
      if (another && stood.answers === answers && !picked && !stood.picked) swapped = stood;
      else if (another || (stood && stood.answers !== answers)) swapped = null;
      if (step) stood = { id: step.id, question: step.question, answers, picked };
      return swapped;
    },
    line(others, choose) {
      if (!swapped) return null;
      const { id, question } = swapped;
      return h("p", { class: "card mind", id: "swapped", role: "status" }, h("b", {}, "Another step now. "), "Before: ", own(question), " ",
        others.some((one) => one.id === id) && key("Back to that", () => { swapped = null; choose(id); }));
    },
  };
}
