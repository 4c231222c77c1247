// Any part by name, one of them locked, and only the parts of some boxes.
import { ask, refresh } from "./asking.js";
import { complain, say, settled } from "./faults.js";
import { best } from "./map.js";
import { button, panel, said } from "./panels.js";
import { KINDS, make, on, state } from "./state.js";
import { pick } from "./train.js";

const { body } = panel("parts-panels", "picking", "Pick, lock, only mine", { open: true });
const rows = {};
let known = null, values = {};

for (const [kind, word] of Object.entries(KINDS)) {
  const input = make("input", { id: `pick-${kind}`, list: `names-${kind}`, autocomplete: "off", spellcheck: "false", "data-key": `pick.${kind}`, "aria-label": word });
  const names = make("datalist", { id: `names-${kind}` }), numbers = make("small");
  const lock = button("lock", () => locked(kind), { id: `lock-${kind}`, "aria-pressed": "false" });
  input.addEventListener("change", () => named(kind).catch(complain));
  rows[kind] = { input, names, numbers, lock };
  body.append(make("div", { class: "pick-row" }, make("label", { for: input.id }, word), input, lock, numbers, names));
}
const again = button("Best with what is locked", () => best().catch(complain), { id: "pick-best" });
const boxes = make("fieldset", { id: "boxes" }, make("legend", {}, "Only parts of"));
body.append(make("p", {}, again), boxes, said("A locked part stays: the map and the best are then made of combinations with it alone. No box chosen means all of them."));

const ids = () => (state.train ?? "").split(" + ");
const held = (kind) => ids()[Object.keys(KINDS).indexOf(kind)];
const found = (kind, text) => known?.kinds[kind].find((each) => each.name === text || each.id === text);

// What there is to choose from is asked anew when parts came or went.
let of = null;
export async function askChoices() {
  of = [state.log, state.tables];
  known = await ask("choices");
  for (const [kind, row] of Object.entries(rows)) row.names.replaceChildren(...known.kinds[kind].map((each) => make("option", { value: each.name }, each.numbers)));
  showBoxes();
  show();
}

async function named(kind) {
  const { input } = rows[kind], text = input.value.trim(), locks = isLocked(kind);
  const back = () => { input.value = found(kind, held(kind))?.name ?? ""; };
  settled("once");
  if (!text) { back(); return; }
  try {
    const { train, taken } = await ask("swap", { train: state.train, kind, part: found(kind, text)?.id ?? text });
    await pick(train);
    if (taken) say(`Nothing is called ${text}: ${taken} was taken`);
  } finally { back(); }
  if (locks) change(kind, [held(kind)]);
}

const isLocked = (kind) => { const now = values[`parts.${kind}`] ?? []; return now.length === 1 && now[0] === held(kind); };

function change(kind, value) {
  state.changes[`parts.${kind}`] = value;
  refresh();
}

function locked(kind) {
  if (isLocked(kind)) { change(kind, null); say("Every one may be chosen again"); }
  else if (held(kind)) { change(kind, [held(kind)]); say(`Only combinations with ${rows[kind].input.value}`); }
}

function showBoxes() {
  const only = values["parts.only"] ?? [];
  const now = known.boxes.map((each) => {
    const tick = make("input", { type: "checkbox", id: `box-${each.name}`, value: each.name });
    tick.checked = only.includes(each.name);
    tick.addEventListener("change", onlyThese);
    return make("label", { for: tick.id }, tick, ` ${each.name} (${each.parts})`);
  });
  boxes.replaceChildren(boxes.firstElementChild, ...now);
}

async function onlyThese() {
  const only = [...boxes.querySelectorAll("input:checked")].map((each) => each.value);
  state.changes["parts.only"] = only.length ? only : null;
  refresh();
  await best().catch(complain);
}

function show() {
  for (const [kind, row] of Object.entries(rows)) {
    const part = found(kind, held(kind));
    if (document.activeElement !== row.input) row.input.value = part?.name ?? "";
    row.numbers.textContent = part?.numbers ?? "";
    row.lock.setAttribute("aria-pressed", String(isLocked(kind)));
    row.lock.textContent = isLocked(kind) ? "locked" : "lock";
    row.lock.setAttribute("aria-label", `${row.lock.textContent}: the ${KINDS[kind]}`);
    row.lock.disabled = !part;
  }
}

on("train", show);
on("brief", (answer) => {
  values = answer.values;
  if (known && of[0] === state.log && of[1] === state.tables) { showBoxes(); show(); } else askChoices().catch(complain);
});
