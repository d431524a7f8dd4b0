// The shop's own sheet. It goes through the outbox like everything else.

import { h, key } from "./dom.js";
import { keep, unsent, watch } from "./outbox.js";
import { field } from "./counter_parts.js";

const root = document.getElementById("counter");
let sheet = JSON.parse(document.getElementById("inside").textContent);
let said = "";

const put = (name) => (text) => { sheet = { ...sheet, [name]: text }; };
function number(text) {
  const found = Number(String(text).trim().replace(",", "."));
  if (!Number.isFinite(found)) throw new Error(`${text} is no number; write it like 84.50`);
  return found;
}

async function save() {
  try {
    await keep({ job: "shop", kind: "ShopNoted", body: { ...sheet, bench_rate: number(sheet.bench_rate), keep_days: number(sheet.keep_days), fee_amount: number(sheet.fee_amount), fetch_days: number(sheet.fetch_days),
      people: sheet.people.map((name) => name.trim()).filter(Boolean) } });
    waiting = await unsent("shop");
    said = "kept";
  } catch (error) {
    said = `Not kept: ${error.message}`;
  }
  show();
  scrollTo({ top: 0 });
}

let waiting = [];
function show() {
  const refused = waiting.filter((one) => one.state === "refused");
  root.replaceChildren(...[
    h("h1", {}, "The shop"),
    h("p", { class: "card mind" }, h("b", {}, "Mind: "), "no account is asked for. One shop, its own network: anyone on this network can read and write everything here."),
    refused.map((one) => h("p", { class: "card loud", role: "alert" }, h("span", { class: "mark" }, "▲ refused: "), one.message)),
    said && !refused.length && h("p", { class: "card good", role: "status" }, said === "kept" ? waiting.length ? "● kept on this phone" : "✓ kept" : said),
    h("section", { class: "card", "aria-label": "Name and address" },
      field("Name, as it prints on the papers", sheet.name, put("name"), { id: "name" }),
      field("Address", sheet.address, put("address"), { of: "textarea", rows: 3, id: "address" }),
      field("Phone", sheet.phone, put("phone"), { id: "phone", inputmode: "tel" })),
    h("section", { class: "card", "aria-label": "People" }, h("h2", {}, "Who works here"),
      sheet.people.map((name, at) => field(`Name ${at + 1}`, name, (text) => { sheet.people[at] = text; }, { id: `person-${at}`, maxlength: 80 })),
      key("Another name", () => { sheet.people = [...sheet.people, ""]; show(); document.getElementById(`person-${sheet.people.length - 1}`).focus(); }, { id: "add-person" })),
    h("section", { class: "card", "aria-label": "Money and terms" }, h("h2", {}, "Money and terms"),
      field("Bench rate, money an hour", sheet.bench_rate || "", put("bench_rate"), { id: "bench_rate", inputmode: "decimal" }),
      field("Currency, its three letters", sheet.currency, put("currency"), { id: "currency", maxlength: 12 }),
      field("Fee, as the customer is told", sheet.fee, put("fee"), { of: "textarea", rows: 2, id: "fee", maxlength: 1000 }),
      field("Diagnosis fee, an amount before tax", sheet.fee_amount || "", put("fee_amount"), { id: "fee_amount", inputmode: "decimal" }),
      key(sheet.fee_credited ? "✓ The fee is credited when the repair goes ahead" : "The fee is not credited", () => { sheet = { ...sheet, fee_credited: !sheet.fee_credited }; show(); document.getElementById("fee_credited").focus(); }, { id: "fee_credited" }),
      field("Storage, as the customer is told", sheet.storage, put("storage"), { of: "textarea", rows: 2, id: "storage", maxlength: 1000,
        note: "Fees, storage and unclaimed goods have local rules; ask for yours." }),
      field("Failed parts are kept for so many days", sheet.keep_days || "", put("keep_days"), { id: "keep_days", inputmode: "numeric" }),
      field("A machine not fetched is said again after so many days (7 when empty)", sheet.fetch_days || "", put("fetch_days"), { id: "fetch_days", inputmode: "numeric" }),
      field("Time zone", sheet.zone, put("zone"), { id: "zone", note: "Area and city, such as Europe/Vienna; empty is that of this computer." })),
    h("div", { class: "bottom" }, key("Keep it", save, { kind: "do", id: "save" })),
  ].flat(9).filter((one) => one instanceof Node));
}

watch(async () => {
  const before = JSON.stringify(waiting.map((one) => one.state));
  waiting = await unsent("shop").catch(() => waiting);
  if (JSON.stringify(waiting.map((one) => one.state)) !== before) show();
});
show();
root.dataset.ready = "yes";
