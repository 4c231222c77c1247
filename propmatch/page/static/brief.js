// The brief: as numbers with sliders, and as text.
import { held, hold } from "./address.js";
import { ask, channel, refresh } from "./asking.js";
import { complain, inputs, mended, settled } from "./faults.js";
import { $, make, on, state, tellAll } from "./state.js";

export const askBrief = channel("brief", () => ({}), useBrief, { rests: ["rest"] });

// One stay in a field, one pull of a slider, is one step to undo.
let stays = 0, anew = false;
for (const what of ["focusin", "pointerdown"]) addEventListener(what, () => { stays += 1; });

function read(input) {
  const text = input.value.trim().replace(/^(\d+),(\d+)$/, input.dataset.list ? "$1,$2" : "$1.$2");
  if (text === "") return null;
  const value = (word) => (word !== "" && Number.isFinite(Number(word)) ? Number(word) : word);
  return input.dataset.list ? text.replace(/s/gi, "").split(/[\s,]+/).filter(Boolean).map(value) : value(text);
}

function write(input, value) {
  if (anew || document.activeElement !== input) input.value = Array.isArray(value) ? value.join(", ") : value ?? "";
  const slider = $(`${input.id}-slider`);
  if (slider && (anew || document.activeElement !== slider) && value !== null) widen(slider, value);
}

function widen(slider, value) {
  if (value > Number(slider.max)) slider.max = value;
  if (value < Number(slider.min)) slider.min = value;
  slider.value = value;
}

function changed(input) {
  state.changes[input.dataset.key] = read(input);
  const slider = $(`${input.id}-slider`);
  if (slider && typeof read(input) === "number") widen(slider, read(input));
  refresh(`${input.id} ${stays}`);
}

for (const input of inputs) {
  input.addEventListener("input", () => changed(input));
  if (!input.dataset.from) continue;
  const { from, to, step } = input.dataset;
  const slider = make("input", { type: "range", id: `${input.id}-slider`, min: from, max: to, step });
  slider.addEventListener("input", () => { state.moving = true; input.value = slider.value; changed(input); });
  slider.addEventListener("change", () => { state.moving = false; refresh(`${input.id} ${stays}`); });
  slider.setAttribute("aria-label", input.getAttribute("aria-label"));
  input.closest(".control").append(slider);
}

// On a narrow screen one control at a time is docked at its foot.
const controls = [...document.querySelectorAll("#sentence .control")];
function dock(id) { for (const each of controls) each.classList.toggle("docked", each.contains($(id))); }
$("moved").append(...controls.map((each) => each.querySelector("label")).map((label) => make("option", { value: label.htmlFor }, label.textContent)));
$("moved").addEventListener("change", () => dock($("moved").value));
$("sentence").addEventListener("submit", (event) => event.preventDefault());

dock("bare_mass");

function useBrief(answer) {
  if (answer.edits !== state.edits) return; // the newest question follows
  mended();
  $("name").textContent = `${answer.name}: power train`;
  document.title = `${answer.name}: power train`;
  for (const input of inputs) write(input, answer.values[input.dataset.key]);
  anew = false;
  showText(answer.text);
  const builds = answer.variants;
  $("build").hidden = builds.length < 2;
  $("variant").replaceChildren(...builds.map((each) => make("option", { value: each.name }, each.name)));
  $("variant").value = state.variant ?? builds[0].name;
  $("build-mass").textContent = state.variant ? `weighs ${builds.find((each) => each.name === state.variant).bare_mass}` : "";
  const rest = answer.words.map((words) => make("p", {}, words));
  if (answer.lists) rest.push(make("p", {}, "A new bare mass changes the filament of the printed parts in proportion, or every item where nothing is printed."));
  rest.push(make("ul", {}, ...answer.assumptions.map((text) => make("li", {}, text))));
  $("rest").replaceChildren(...rest);
  tellAll("brief", answer);
}

$("variant").addEventListener("change", () => {
  const { selectedIndex, value } = $("variant");
  state.variant = selectedIndex > 0 ? value : null;
  state.version += 1;
  refresh();
});

// The text is the reader's as soon as it is edited: nothing writes over it until it is used or left.
let shown = "";
const left = make("p", { class: "hint", id: "text-left", hidden: "" }, "Not used yet: the page goes by the text as it was. ");
const leave = make("button", { type: "button", id: "text-leave" }, "Leave my changes");
left.append(leave);
$("use").after(left);

function showText(text, over = false) {
  const edited = !over && $("text").value !== shown;
  if (!edited) {
    $("text").value = text;
    shown = $("text").value;
  }
  state.current = text;
  left.hidden = !edited;
}

$("text").addEventListener("input", () => {
  left.hidden = $("text").value === shown;
  hold("draft", left.hidden ? null : $("text").value);
});
leave.addEventListener("click", () => {
  hold("draft", null);
  settled("text");
  showText(state.current, true);
});

// Go by another brief, if nothing is wrong with it.
export async function useText(text) {
  const other = { text, changes: {}, variant: null };
  try { await ask("brief", other); } catch (error) { complain(error, "text"); return false; }
  settled("text");
  hold("draft", null);
  Object.assign(state, other);
  state.version += 1;
  $("text").value = shown = "";
  anew = true;
  await askBrief();
  refresh();
  return true;
}
$("use").addEventListener("click", () => useText($("text").value));

// Text that a reload found unfinished is there again.
export function showDraft() {
  const draft = held("draft");
  if (draft === null) return;
  $("text").value = draft;
  $("textual").open = true;
  left.hidden = false;
}

on("restored", () => { anew = true; });
