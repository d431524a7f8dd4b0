// Plain forms: who enters it goes with it, and a second tap sends nothing twice.

import { person } from "./outbox.js";

for (const form of document.querySelectorAll("main form")) {
  form.addEventListener("submit", () => {
    for (const field of form.querySelectorAll(".by-name")) field.value = person() || "";
    for (const button of form.querySelectorAll("button")) setTimeout(() => { button.disabled = true; });
  });
}
const problem = document.getElementById("problem");
if (problem) problem.scrollIntoView({ block: "center" });
