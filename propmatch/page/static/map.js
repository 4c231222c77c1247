// The map of all that passes, and the best of it.
import { gesture } from "./address.js";
import { ask, askLong, channel } from "./asking.js";
import { complain, say } from "./faults.js";
import { createMap } from "./mapdrawing.js";
import { sized } from "./plot.js";
import { $, make, on, state, tellAll } from "./state.js";
import { pick } from "./train.js";

export const askMap = channel("map", () => ({ moving: state.moving }), useMap, {
  shows: ["map", "count"], words: "Looking through the catalogue", patience: 400,
});
let looking = false, refused = -1;

const KINDS = ["motor", "controller", "pack", "propeller"], SHOWN = ["motor", "propeller", "controller", "pack"];

const counted = (n) => (n < 1e6 ? String(n) : `${(n / 1e6).toFixed(1)} million`);

async function useMap(answer) {
  if (state.stock?.stock !== answer.stock) state.stock = await ask("parts");
  const { stock } = state, { parts } = answer, size = answer.flight_minutes.length;
  const part = (i, kind) => parts[4 * i + KINDS.indexOf(kind)];
  state.marks = {
    size, front: answer.front, minutes: answer.flight_minutes, thrust: answer.thrust_to_weight, mass: answer.all_up_mass_g,
    cells: Array.from({ length: size }, (_, i) => stock.cells[parts[4 * i + 2]]),
    rows: (i) => `${parts[4 * i]},${parts[4 * i + 1]},${parts[4 * i + 2]},${parts[4 * i + 3]}`,
    id: (i) => KINDS.map((kind) => stock[kind][part(i, kind)]).join(" + "),
    names: (i) => SHOWN.map((kind) => stock.names[kind][part(i, kind)]),
  };
  const drawn = size < answer.total ? `, ${size} of them on the map` : "";
  $("count").textContent = `${answer.total} of ${counted(answer.combinations)} combinations meet the brief${drawn}.`;
  showMap(answer.moving);
  showBests();
  tellAll("map", answer);
  say("");
  document.body.dataset.mapped = String(answer.seq);
  document.body.dataset.steps = String(answer.edits);
  if (!state.train && answer.total && !looking && refused !== state.edits) best().catch(complain);
}

// Parts from which nothing can be made at all.
on("refused", (what, faults) => {
  if (what !== "map" || !faults.some((fault) => fault.where === "catalogue")) return;
  state.marks = { size: 0, front: 0, minutes: [], thrust: [], mass: [], cells: [], rows: () => "", id: () => "", names: () => [] };
  $("count").textContent = "No combination can be made of the parts that may be chosen.";
  showMap();
  showBests();
  tellAll("map", { total: 0 });
});

const map = createMap({
  pick: (index) => pick(state.marks.id(index)), tell,
  chosen: () => Array.from({ length: state.marks.size }, (_, i) => i).find((i) => state.marks.id(i) === state.train) ?? -1,
});
$("map").append(map.root, map.key);
let room = null;

export function showMap(moving = false) {
  map.update(state.marks, room ??= sized($("map"), 0.44), moving);
  ring();
  if (!moving) showTable();
}

export function fitMap() {
  room = null;
  if (state.marks) showMap();
}

// Where the picked train is now, on a map that may be of a moment ago.
function ring() {
  const of = (name) => state.last.numbers?.find((each) => each.name === name).value ?? null;
  const ends = (name) => state.last.numbers?.filter((each) => each.name === name).flatMap((each) => [each.low, each.high]) ?? [];
  map.ring(of("thrust_to_weight"), of("flight_time"), ends("thrust_to_weight"), ends("flight_time"));
}

const figures = (m, i) => [`${m.cells[i]}S`, `${m.minutes[i].toFixed(1)} min`, m.thrust[i].toFixed(2), `${m.mass[i].toFixed(0)} g`];

function tell(index, count) {
  const m = state.marks, [cells, minutes, thrust, mass] = figures(m, index);
  $("reading").textContent = `${cells}, ${minutes}, thrust to weight ${thrust}, ${mass}: ${m.names(index).join(", ")}`
    + (count > 1 ? ` (the lightest of ${count} in this mark)` : "");
  $("reading").dataset.id = m.id(index);
  for (const row of $("map-rows").children) row.classList.toggle("at", row.dataset.of === m.rows(index));
}

// The marks of the map as a table: the same order, the same selection.
function showTable() {
  if (!$("map-table").open) return;
  const m = state.marks;
  $("map-rows").replaceChildren(...map.marks().map(({ i, count }) => {
    const row = m.rows(i), button = make("button", { type: "button", class: "number" }, m.names(i).join(", "));
    button.addEventListener("click", () => pick(m.id(i)));
    button.addEventListener("focus", () => map.show(row));
    const line = make("tr", { "data-of": row }, ...figures(m, i).map((text) => make("td", {}, text)),
      make("td", {}, i < m.front ? "yes" : ""), make("td", {}, String(count)), make("th", { scope: "row" }, button));
    return line;
  }));
  markPicked();
}

function markPicked() {
  const rows = $("map-rows").children;
  if (!rows.length) return;
  map.marks().forEach(({ i }, at) => {
    if (state.marks.id(i) === state.train) rows[at]?.setAttribute("aria-current", "true");
    else rows[at]?.removeAttribute("aria-current");
  });
}
$("map-table").addEventListener("toggle", showTable);

// A button for each cell count on the map; what is best is found when it is asked for.
function showBests() {
  const counts = [...new Set(state.marks.cells)].sort();
  if ($("bests").dataset.of === counts.join()) return;
  $("bests").dataset.of = counts.join();
  $("bests").replaceChildren(...counts.map((cells) => {
    const button = make("button", { type: "button", "data-cells": cells }, `best on ${cells}S`);
    button.addEventListener("click", () => best(cells).catch(complain));
    return button;
  }));
}

export async function best(cells) {
  const { edits } = state, look = (state.looks += 1);
  looking = true;
  let found;
  try { found = await askLong("best", "Looking for the best"); } finally { looking = false; }
  if (!found) refused = edits;
  if (!found || look !== state.looks || edits !== state.edits) return;
  const id = cells ? found.by_cells[cells] : found.id;
  if (id) {
    await pick(id, cells ? gesture() : null);
    if (!cells) say(found.how);
  }
  else if (cells) say(`Nothing on ${cells}S meets the brief`);
  else $("parts").textContent = `Nothing meets the brief. Lost most to: ${found.left_out.slice(0, 3).map((each) => each.check).join(", ")}.`;
}

on("train", (answer) => { ring(); if (!answer.moving) markPicked(); });
