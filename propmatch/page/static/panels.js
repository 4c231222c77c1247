// Panels that are filled when they are opened.
import { complain } from "./faults.js";
import { $, make, on } from "./state.js";

// A panel at the end of a group of panels; gives back the place for its contents.
export function panel(group, id, title, { open = false, wide = false } = {}) {
  const body = make("div", { id });
  const whole = make("details", { class: wide ? "panel wide" : "panel", id: `${id}-panel` }, make("summary", {}, make("h3", {}, title)), body);
  whole.open = open;
  (typeof group === "string" ? $(group) : group).append(whole);
  return { whole, body };
}

// Asks for the contents when the panel opens, and again whenever one of these happens while it is open.
export function whileOpen(whole, ask, ...happenings) {
  const go = () => { if (whole.open) ask().catch(complain); };
  whole.addEventListener("toggle", go);
  for (const each of happenings) on(each, (answer) => { if (whole.open) whole.setAttribute("aria-busy", "true"); if (!answer?.moving) go(); });
}

export const fresh = (whole) => whole.removeAttribute("aria-busy");

export function button(text, use, attributes = {}) {
  const made = make("button", { type: "button", ...attributes }, text);
  made.addEventListener("click", use);
  return made;
}

export function table(heads, rows, caption) {
  const line = (row) => make("tr", {}, ...row.map((cell, at) => make(at ? "td" : "th", at ? {} : { scope: "row" }, cell)));
  return make("div", { class: "scroll", role: "region", tabindex: "0", "aria-label": caption }, make("table", {},
    make("caption", {}, caption), make("thead", {}, make("tr", {}, ...heads.map((head) => make("th", { scope: "col" }, head)))),
    make("tbody", {}, ...rows.map(line))));
}

export const said = (text, kind = "hint") => make("p", { class: kind }, text);
