// Pinned trains, each with the brief it was pinned under, side by side.
import { gesture, inAddress, remember } from "./address.js";
import { ask } from "./asking.js";
import { drawCompare } from "./drawing.js";
import { number } from "./explain.js";
import { complain, inputs } from "./faults.js";
import { sized } from "./plot.js";
import { $, KINDS, make, on, state, tellAll } from "./state.js";

// What an answer is of: enough to ask for it again.
const asked = ({ train, text, changes, variant, log, tables = [] }) => ({ train, text, changes: { ...changes }, variant, log, tables });
const same = (one, other) => JSON.stringify(asked(one)) === JSON.stringify(asked(other));
inAddress("pins", () => state.pins.map(({ of }) => of), (pins) => {
  const kept = (Array.isArray(pins) ? pins : []).slice(0, 3).filter((of) => of && typeof of === "object");
  state.pins = kept.map((of) => state.pins.find((each) => same(each.of, of)) ?? { of: asked(of) });
});

$("pin").addEventListener("click", () => {
  if (!allowed()) return;
  state.pins.push({ ...state.last, of: asked(state), units: JSON.stringify(units) });
  pinned();
});

function pinned() {
  remember(gesture());
  showPins();
}

// Pins of an address have no numbers yet, others those of units that the page has left.
let units = {};
const old = (pin) => pin.units !== JSON.stringify(units);
on("brief", ({ values }) => {
  units = Object.fromEntries(Object.entries(values).filter(([key]) => key.startsWith("units.")));
  if (state.pins.some((pin) => pin.id && old(pin))) askPins();
});

export async function askPins() {
  for (const pin of state.pins.filter(old)) {
    const now = units;
    try { Object.assign(pin, await ask("train", { ...pin.of, changes: { ...pin.of.changes, ...now } }), { units: JSON.stringify(now) }); } catch (error) {
      complain(error, "pins");
      state.pins = state.pins.filter((each) => each !== pin);
    }
  }
  showPins();
}

const allowed = () => state.pins.length < 3 && state.last.id === state.train && state.last.edits === state.edits && !state.last.moving && !state.pins.some((each) => same(each.of, state));

// What a pin asks for that the page does not, in the words of the sentence.
function differs(of) {
  const names = new Map(inputs.map((each) => [each.dataset.key, [each.getAttribute("aria-label").split(/[:,]/)[0], each.parentElement.textContent.trim()]]));
  const keys = [...new Set([...Object.keys(of.changes), ...state.pins.flatMap((each) => Object.keys(each.of.changes))])].filter((key) => !key.startsWith("units."));
  const said = keys.map((key) => {
    const [name, unit] = names.get(key) ?? [key, ""], value = of.changes[key];
    if (value === undefined) return `${name} as written`;
    return [name, typeof value === "object" ? (value === null ? "left out" : JSON.stringify(value)) : value, value === null ? "" : unit].join(" ").trim();
  });
  const texts = [...new Set(state.pins.map((each) => each.of.text))];
  return [texts.length > 1 ? `text ${texts.indexOf(of.text) + 1}` : "", ...said].filter(Boolean).join("; ") || "as written";
}

// Work on with a pinned train and its brief.
function takeUp({ of }) {
  Object.assign(state, asked(of));
  state.version += 1;
  state.looks += 1;
  remember(gesture());
  tellAll("restored");
}

export function showPins() {
  const pins = state.pins.filter((each) => each.id);
  $("pins").hidden = pins.length === 0;
  $("pin").disabled = !allowed();
  if (!pins.length) return;
  $("compare-chart").replaceChildren(drawCompare(pins, sized($("compare-chart"))));
  const under = (text, at, act) => {
    const button = make("button", { type: "button", "aria-label": `${text} train ${"ABC"[at]}` }, text);
    button.addEventListener("click", act);
    return button;
  };
  const row = (label, cell) => make("tr", {}, make("th", { scope: "row" }, label), ...pins.map((each) => make("td", {}, ...[cell(each)].flat())));
  const heads = pins.map((each, at) => make("th", { scope: "col" }, `${"ABC"[at]}: ${each.cells}S `,
    under("unpin", at, () => { state.pins = state.pins.filter((one) => one !== each); pinned(); }), " ", under("take up", at, () => takeUp(each))));
  $("compare").replaceChildren(make("table", {},
    make("thead", {}, make("tr", {}, make("td", {}), ...heads)),
    make("tbody", {},
      ...["motor", "propeller", "controller", "pack"].map((kind) => row(KINDS[kind], (each) => each.parts.find((part) => part.kind === kind).name)),
      row("radio and payload", (each) => each.supply),
      ...pins[0].numbers.map((first, at) => row(first.label, (each) => [number(first.name, each.numbers[at].text, each.of), each.numbers[at].range ? ` (${each.numbers[at].range})` : ""])),
      row("nearest to its limit", (each) => each.closest ?? "-"),
      row("brief", (each) => (each.meets ? "met on paper" : `missed: ${each.misses.join("; ")}`)),
      row("limits kept, of 100", (each) => (100 * each.chance_all_limits).toFixed(0)),
      row("built", (each) => each.of.variant ?? "as designed"),
      row("asked", (each) => differs(each.of)))));
}

on("train", (answer) => { if (!answer.moving) $("pin").disabled = !allowed(); });
