// The sheet of a page that makes none: the page itself on paper, with what tells of the picked train opened.
import { button, said } from "./panels.js";
import { $, state } from "./state.js";

const LONGEST_MS = 20_000, EMPTY = ["why-panel", "pins"];
const filled = (each) => each.querySelector("p, table, svg");

async function paper() {
  if (!state.train) return;
  const told = [...$("train-panels").querySelectorAll("details"), $("rest").closest("details")];
  const opened = told.filter((each) => !each.open && !each.hidden && !EMPTY.includes(each.id)), end = performance.now() + LONGEST_MS;
  for (const each of opened) each.open = true;
  while (!opened.every(filled) && performance.now() < end) await new Promise((go) => { setTimeout(go, 100); });
  print();
  for (const each of opened) each.open = false;
}

$("sheet").textContent = "Print it";
$("sheet").addEventListener("click", paper);
$("take-sheet").append(button("On paper, or as PDF", paper, { id: "get-pdf" }), said("The page is printed as it stands, without its controls and with every table of the picked train; choose a printer or a PDF file."));
