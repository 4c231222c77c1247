// What is wrong, said where it is wrong, until the same question is answered.
import { $, make, tellAll } from "./state.js";

export const inputs = [...document.querySelectorAll("#sentence input[data-key]")];
const wrong = new Map(), marked = new Set();

export class Faulty extends Error {
  constructor(faults) { super("faults"); this.faults = faults; }
}

// A question that nobody waits for any more.
export class Dropped extends Error {}

export function say(text) { $("status").textContent = text || count(); }

function count() {
  const found = $("faults").childElementCount + $("text-faults").childElementCount;
  return found > 1 ? `${found} things to put right` : found ? "One thing to put right" : "";
}

// Each kind of question has its own faults: an answer to one never hides what is wrong with another.
export function complain(error, what = "once") {
  if (error instanceof Dropped || error.name === "AbortError") return;
  if (!(error instanceof Faulty)) { say(`No answer: ${error.message}`); return; }
  wrong.set(what, error.faults);
  showFaults();
  say("");
  tellAll("refused", what, error.faults);
}

// The brief can be read again: what was wrong with its numbers no longer holds back what is drawn of it.
export function mended() {
  for (const what of ["map", "train", "views"]) {
    if (wrong.get(what)?.every((fault) => fault.where === "sentence")) settled(what);
  }
}

export function settled(what) {
  if (!wrong.delete(what)) return;
  showFaults();
  say("");
}

function showFaults() {
  for (const list of [$("faults"), $("text-faults")]) list.replaceChildren();
  for (const input of marked) { input.removeAttribute("aria-invalid"); input.removeAttribute("aria-describedby"); }
  marked.clear();
  const faults = new Map([...wrong.values()].flat().map((fault) => [fault.text, fault]));
  for (const fault of faults.values()) {
    const textual = fault.where.startsWith("brief"), list = textual ? $("text-faults") : $("faults");
    const input = inputs.find((each) => fault.key === each.dataset.key || fault.key.startsWith(`${each.dataset.key}[`))
      ?? document.querySelector(`[data-key="${CSS.escape(fault.key)}"]`);
    if (textual) $("textual").open = true;
    if (input) { input.setAttribute("aria-invalid", "true"); input.setAttribute("aria-describedby", list.id); marked.add(input); }
    const words = `${fault.rule}${fault.hint ? `; ${fault.hint}` : ""}`;
    list.append(make("li", {}, input && !textual ? `${input.getAttribute("aria-label")}: ${words}` : fault.text));
  }
}
