// What every part of the page shares: its state, elements, and word of what happened.

export const $ = (id) => document.getElementById(id);
export const state = { text: "", changes: {}, variant: null, train: null, marks: null, pins: [], last: {}, version: 1, edits: 0, looks: 0, looked: 0, moving: false, log: null, tables: [] };
export const KINDS = { motor: "motor", controller: "ESC", pack: "pack", propeller: "propeller" };

export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

const listening = {};

// What a part of the page wants to hear of: "train" (a picked train was drawn), "brief" (a brief was read), "refused" (a question has faults).
export function on(what, use) { (listening[what] ??= []).push(use); }
export function tellAll(what, ...more) { for (const use of listening[what] ?? []) use(...more); }
