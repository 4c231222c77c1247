// A table of parts dropped on the page: shown as it would be read, then laid over the catalogue or left.
import { inAddress } from "./address.js";
import { ask, refresh } from "./asking.js";
import { Faulty, complain, say } from "./faults.js";
import { button, panel, said, table } from "./panels.js";
import { askChoices } from "./picking.js";
import { $, make, state } from "./state.js";

const { whole, body } = panel("parts-panels", "tables", "Parts of your own");
const file = make("input", { id: "table-file", type: "file", accept: ".csv,.tsv,.txt" });
const kind = make("select", { id: "table-kind" }, make("option", { value: "" }, "as its headings say"),
  ...["motors", "controllers", "packs", "propellers"].map((each) => make("option", { value: each }, each)));
const box = make("input", { id: "table-box", size: "10", value: "mine" });
const shown = make("div", { id: "table-shown", "aria-live": "polite" }), used = make("ul", { id: "tables-used" });
body.append(make("p", {}, make("label", { for: file.id }, "A table of parts (CSV), chosen or dropped anywhere on this page"), " ", file),
  make("p", {}, make("label", { for: kind.id }, "its rows are "), kind, " ", make("label", { for: box.id }, "in the box "), box), shown, used);
let asked = null;

// Gives back whether anything of it can be read.
export async function dropped(name, text) {
  asked = { name, text };
  shown.replaceChildren();
  return show();
}

// What was said of a table that cannot be used.
export function forgetBad() { if (!$("table-use")) shown.replaceChildren(); }

async function show() {
  let good = true;
  const sent = { ...asked, kind: kind.value || null, box: box.value.trim() || "mine" };
  try {
    const told = await ask("table", { table: sent });
    const use = button("Use these parts", () => keep(sent).catch(complain), { id: "table-use" });
    use.disabled = !told.usable;
    shown.replaceChildren(said(`${asked.name}: ${told.sentence}`, ""), ...list(told.wrong, "faults"),
      ...told.lists.map((each) => table(each.heads, each.rows, each.kind)), ...(told.columns.length ? [said("Their column -> ours:"), ...list(told.columns)] : []), ...told.notes.map((text) => said(text)),
      make("p", {}, use, " ", button("Leave them", () => shown.replaceChildren())), said(`The address of this page holds them; keep ${asked.name} as well.`));
  } catch (error) {
    if (!(error instanceof Faulty)) throw error;
    good = false;
    shown.replaceChildren(said(`${asked.name}: nothing of it can be read.`, ""), ...list(error.faults.map((fault) => fault.text), "faults"));
  }
  whole.open = true;
  shown.dataset.of = asked.name;
  shown.scrollIntoView({ block: "nearest" });
  return good;
}

const list = (texts, kind = "") => (texts.length ? [make("ul", { class: kind }, ...texts.map((text) => make("li", {}, text)))] : []);

async function keep(sent) {
  state.tables = [...state.tables.filter((each) => each.name !== sent.name), sent];
  shown.replaceChildren();
  await changed(`The parts of ${sent.name} are in the box ${sent.box}`);
}

async function changed(words) {
  showUsed();
  state.version += 1;
  refresh();
  await askChoices();
  say(words);
}

function showUsed() {
  used.replaceChildren(...state.tables.map((each) => make("li", {}, `${each.name}, box ${each.box} `, button("leave it out", async () => {
    state.tables = state.tables.filter((other) => other !== each);
    await changed(`${each.name} is left out`).catch(complain);
  }, { "aria-label": `leave ${each.name} out` }))));
}

inAddress("tables", () => state.tables, (tables) => { state.tables = Array.isArray(tables) ? tables : []; showUsed(); });
file.addEventListener("change", async () => { if (file.files.length) await dropped(file.files[0].name, await file.files[0].text()).catch(complain); });
for (const each of [kind, box]) each.addEventListener("change", () => { if (asked && shown.childElementCount) show().catch(complain); });
