// Which family a propeller is of: the six blades drawn, and three questions that need the propeller in hand.
import { ask } from "./asking.js";
import { complain } from "./faults.js";
import { panel, said } from "./panels.js";
import { make } from "./state.js";

const { whole, body } = panel("parts-panels", "families", "Which family a propeller is of", { wide: true });
const size = make("input", { id: "family-size", size: "10", placeholder: "5x4.5x3", spellcheck: "false" });
const hinged = make("select", { id: "family-hinged" }, make("option", { value: "" }, "not said"), make("option", {}, "hinged"), make("option", {}, "fixed"));
const chord = make("input", { id: "family-chord", size: "5", inputmode: "decimal" });
const bend = make("select", { id: "family-bend" }, make("option", { value: "" }, "not said"));
const words = make("p", { id: "family-words", role: "status" }), cards = make("div", { class: "blades" }), questions = make("div");
body.append(make("p", {}, make("label", { for: size.id }, "Diameter x pitch x blades, in inches"), " ", size), questions, words, cards);

const row = (text, ...fields) => make("p", {}, make("label", { for: fields[0].id }, text), " ", ...fields);
const drawing = (svg) => new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;

function card(each, chance) {
  return make("section", {}, make("h4", {}, chance === undefined ? each.family : `${each.family}, ${Math.round(100 * chance)} %`),
    drawing(each.svg), make("ul", {}, ...["look", "chord", "thickness", "stiffness", "sizes"].map((key) => make("li", {}, each[key]))));
}

function typed() {
  const width = chord.value.trim().replace(/\s*mm$/, "");
  return [size.value.trim(), hinged.value, width && `${width}mm`, bend.value].filter(Boolean).join(" ");
}

async function show() {
  const name = size.value.trim() ? typed() : "", told = await ask("family", { name });
  if (name !== (size.value.trim() ? typed() : "")) return;
  if (!questions.childElementCount) {
    bend.append(...Object.keys(told.bends).map((each) => make("option", {}, each)));
    questions.append(row(told.questions.hinged, hinged), row(told.questions.chord, chord, " mm"), row(told.questions.bend, bend));
  }
  words.textContent = told.sentence || "Type a size for the chance of each family; every answer sharpens it.";
  cards.replaceChildren(...told.families.map((each) => card(each, told.chances[each.family])));
  cards.dataset.of = name;
}

whole.addEventListener("toggle", () => { if (whole.open && !cards.childElementCount) show().catch(complain); });
for (const each of [size, hinged, chord, bend]) each.addEventListener("change", () => show().catch(complain));
body.append(said("The mark on a blade is its chord at 75 % of the radius, the usual one of the family. Where none is sure, 'unknown' mixes them by these chances."));
