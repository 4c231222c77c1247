// Why the picked train stands where it does, and where nothing meets the brief what comes nearest.
import { ask, askLong } from "./asking.js";
import { complain } from "./faults.js";
import { button, fresh, panel, said, whileOpen } from "./panels.js";
import { $, make, on, state } from "./state.js";
import { pick } from "./train.js";

const why = panel("train-panels", "why", "Where it stands, or what it misses");
const near = panel("parts-panels", "nearest", "What works, and what comes nearest");

async function askWhy() {
  const { train } = state;
  if (!train) { why.body.replaceChildren(said("No train is picked yet.", "")); return; }
  const told = await ask("why", { train });
  if (train !== state.train) return;
  why.body.replaceChildren(said(told.words, ""));
  why.body.dataset.of = train;
  fresh(why.whole);
}

async function askNearest() {
  near.body.replaceChildren(said("Looking for what comes nearest"));
  const { edits } = state, found = await askLong("nearest", "Looking for what comes nearest");
  if (!found || edits !== state.edits) return;
  near.body.replaceChildren(...found.first.map((text) => said(text, "")), ...found.cells.flatMap((each) => [
    said(each.words, ""),
    make("ul", {}, ...each.nearest.map((miss) => make("li", {}, button("take it", () => pick(miss.id).catch(complain), { "aria-label": `take ${miss.name}` }), ` ${miss.name}: ${miss.words}.`))),
  ]), ...found.notes.map((text) => said(text)));
  near.body.dataset.of = String(edits);
}

whileOpen(why.whole, askWhy, "train");
near.whole.addEventListener("toggle", () => { if (near.whole.open) askNearest().catch(complain); });
on("brief", () => {
  if (near.body.dataset.of === undefined || near.body.dataset.of === String(state.edits) || near.body.querySelector("#look-again")) return;
  near.body.prepend(said("What follows is of before."), button("Look again", () => askNearest().catch(complain), { id: "look-again" }));
});

const lead = button("What comes nearest?", () => { near.whole.open = true; near.whole.scrollIntoView({ block: "nearest" }); }, { id: "see-nearest" });
$("count").after(" ", lead);
on("map", ({ total }) => { lead.hidden = total > 0; });
lead.hidden = true;
