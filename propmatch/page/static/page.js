// The page: reads the sentence, asks the server, draws. Text from files only ever becomes text nodes.
import { fit, createMap, drawChart, drawCompare, marginBar } from "./drawing.js";

const $ = (id) => document.getElementById(id);
const inputs = [...document.querySelectorAll("#sentence input[data-key]")];
const state = { text: "", changes: {}, variant: null, train: null, marks: null, pins: [], last: {}, version: 1, edits: 0, looks: 0, looked: 0, moving: false, log: null };
let seq = 0;

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

// ------------------------------------------------------------ asking

class Faulty extends Error {
  constructor(faults) { super("faults"); this.faults = faults; }
}

async function ask(what, more = {}, signal) {
  const sent = { text: state.text, changes: state.changes, variant: state.variant, log: state.log, seq: ++seq, ...more };
  const reply = await fetch(what, {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(sent), signal,
  });
  if (what === "sheet" && reply.ok) return reply.blob();
  if (reply.status === 403) throw new Error("the server does not know this page");
  const body = await reply.json();
  if (body.faults && reply.status === 422) throw new Faulty(body.faults);
  return { ...body, status: reply.status, sent: sent.seq };
}

// One question of a kind is under way at a time; the newest waits for it, and what is late is dropped. Where patience is
// given, in ms, one that took longer is given up for the newest, though never two in a row: something is drawn meanwhile.
function channel(what, more, use, patience = Infinity) {
  const kept = { busy: false, again: false, newest: 0, since: 0, gone: null, spared: false };
  return async function go() {
    kept.again = kept.busy;
    if (kept.busy && !kept.spared && performance.now() - kept.since > patience) kept.gone.abort();
    if (kept.busy) return;
    kept.busy = true;
    do {
      Object.assign(kept, { again: false, since: performance.now(), gone: new AbortController() });
      const { version, edits, moving } = state;
      try {
        const asked = more();
        if (asked === null) break;
        const answer = { ...(await ask(what, asked, kept.gone.signal)), edits, moving };
        kept.spared = false;
        if (answer.status !== 409 && answer.seq >= kept.newest && version === state.version) {
          kept.newest = answer.seq;
          clearFaults();
          await use(answer);
        } else if (version !== state.version) kept.again = true;
      } catch (error) {
        kept.spared = error.name === "AbortError";
        if (version === state.version && !kept.spared) complain(error);
      }
    } while (kept.again);
    kept.busy = false;
  };
}

const askBrief = channel("brief", () => ({}), useBrief);
const askTrain = channel("train", () => (state.train ? { train: state.train, moving: state.moving } : null), useTrain);
const askViews = channel("views", () => (state.train ? { train: state.train } : null), useViews);
const PAGE = crypto.randomUUID();
const askMap = channel("map", () => ({ page: PAGE, moving: state.moving }), useMap, 400);

function say(text) { $("status").textContent = text; }

function complain(error) {
  if (!(error instanceof Faulty)) { say(`No answer: ${error.message}`); return; }
  clearFaults();
  for (const fault of error.faults) {
    const textual = fault.where.startsWith("brief"), list = textual ? $("text-faults") : $("faults");
    const input = inputs.find((each) => fault.key === each.dataset.key || fault.key.startsWith(`${each.dataset.key}[`));
    if (textual) $("textual").open = true;
    if (input) { input.setAttribute("aria-invalid", "true"); input.setAttribute("aria-describedby", list.id); }
    const words = `${fault.rule}${fault.hint ? `; ${fault.hint}` : ""}`;
    list.append(make("li", {}, input && !textual ? `${input.getAttribute("aria-label")}: ${words}` : fault.text));
  }
  say(error.faults.length === 1 ? "One thing to put right" : `${error.faults.length} things to put right`);
}

function clearFaults() {
  for (const list of [$("faults"), $("text-faults")]) list.replaceChildren();
  for (const input of inputs) { input.removeAttribute("aria-invalid"); input.removeAttribute("aria-describedby"); }
}

// ------------------------------------------------------------ the sentence

function read(input) {
  const text = input.value.trim().replace(/^(\d+),(\d+)$/, input.dataset.list ? "$1,$2" : "$1.$2");
  if (text === "") return null;
  const value = (word) => (word !== "" && Number.isFinite(Number(word)) ? Number(word) : word);
  return input.dataset.list ? text.replace(/s/gi, "").split(/[\s,]+/).filter(Boolean).map(value) : value(text);
}

function write(input, value) {
  if (document.activeElement !== input) input.value = Array.isArray(value) ? value.join(", ") : value ?? "";
  const slider = $(`${input.id}-slider`);
  if (slider && document.activeElement !== slider && value !== null) widen(slider, value);
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
  refresh();
}

// The map and the picked train follow every step; what takes longer waits until nothing has moved for a moment.
function refresh() {
  state.edits += 1;
  clearTimeout(state.later);
  askMap();
  if (state.train) askTrain();
  if (!state.moving) state.later = setTimeout(async () => { await askBrief(); await askPins(); await askViews(); }, 150);
}

for (const input of inputs) {
  input.addEventListener("input", () => changed(input));
  if (!input.dataset.from) continue;
  const { from, to, step } = input.dataset;
  const slider = make("input", { type: "range", id: `${input.id}-slider`, min: from, max: to, step });
  slider.addEventListener("input", () => { state.moving = true; input.value = slider.value; changed(input); });
  slider.addEventListener("change", () => { state.moving = false; refresh(); });
  $("sliders").append(make("div", {}, make("label", { for: slider.id }, input.getAttribute("aria-label")), slider));
}
$("sentence").addEventListener("submit", (event) => event.preventDefault());

function useBrief(answer) {
  $("name").textContent = `${answer.name}: power train`;
  document.title = `${answer.name}: power train`;
  for (const input of inputs) write(input, answer.values[input.dataset.key]);
  if (document.activeElement !== $("text")) $("text").value = answer.text;
  const builds = answer.variants;
  $("build").hidden = builds.length < 2;
  $("variant").replaceChildren(...builds.map((each) => make("option", { value: each.name }, each.name)));
  $("variant").value = state.variant ?? builds[0].name;
  $("build-mass").textContent = state.variant ? ` and weighs ${builds.find((each) => each.name === state.variant).bare_mass}` : "";
  const rest = answer.words.map((words) => make("p", {}, words));
  if (answer.lists) rest.push(make("p", {}, "A new bare mass changes the filament of the printed parts in proportion, or every item where nothing is printed."));
  rest.push(make("ul", {}, ...answer.assumptions.map((text) => make("li", {}, text))));
  $("rest").replaceChildren(...rest);
}

$("variant").addEventListener("change", () => {
  const { selectedIndex, value } = $("variant");
  state.variant = selectedIndex > 0 ? value : null;
  state.version += 1;
  refresh();
});

$("use").addEventListener("click", async () => {
  Object.assign(state, { text: $("text").value, changes: {}, variant: null });
  state.version += 1;
  $("text").blur();
  await askBrief();
  if ($("text-faults").childElementCount === 0) refresh();
});

// ------------------------------------------------------------ the picked train

function number(train, name, text) {
  const button = make("button", { type: "button", class: "number", "data-name": name }, text);
  button.addEventListener("click", () => explain(train, name));
  return button;
}

// While a number moves, parts, numbers, checks and chart follow on paper; all else when it rests.
function useTrain(answer) {
  state.last = answer.moving ? { ...state.last, ...answer } : answer;
  const parts = answer.parts.map((part) => make("span", { title: part.source }, `${part.name} `));
  $("parts").replaceChildren(make("strong", {}, `${answer.cells}S `), ...parts, answer.supply);
  $("numbers").replaceChildren(...answer.numbers.flatMap((each) =>
    [make("span", {}, `${each.label} `, number(answer.id, each.name, each.text), each.range && each.low !== each.high ? ` (${each.range})` : ""), " "]));
  $("verdict").textContent = [answer.verdict, answer.beside].filter(Boolean).join(" ");
  $("chart").replaceChildren(drawChart(answer.chart));
  $("chart-words").textContent = answer.chart.words;
  drawMargins(answer);
  ring();
  document.body.dataset.drawn = String(answer.seq);
  if (answer.moving) { $("draws").textContent = "On paper while a number moves."; return; }
  $("as-flown").textContent = answer.as_flown.join(" ");
  $("settings").replaceChildren(...answer.settings.map((each) => make("tr", {},
    make("th", { scope: "row" }, each.set), make("td", {}, each.to), make("td", {}, each.because))));
  $("draws").textContent = `From ${answer.draws} draws of every number that nobody knows exactly.`;
  drawSpeeds(answer.speeds);
  drawTrim(answer.trim);
  $("pin").disabled = state.pins.some((each) => each.id === answer.id) || state.pins.length >= 3;
  if (state.looked !== state.looks) { state.looked = state.looks; askViews(); }
}

function useViews(answer) {
  const drawn = answer.svg ? [new DOMParser().parseFromString(answer.svg, "image/svg+xml").documentElement] : [];
  $("views").replaceChildren(...drawn);
  $("views-words").textContent = answer.words;
}

function drawSpeeds(speeds) {
  const cells = (row) => row.map((text, at) => make(at ? "td" : "th", at ? {} : { scope: "row" }, text));
  const heads = speeds.heads.map((text) => make("th", { scope: "col" }, text));
  $("speed-words").textContent = speeds.words.join(" ");
  $("speeds").replaceChildren(make("table", {}, make("caption", {}, speeds.head), make("thead", {}, make("tr", {}, ...heads)),
    make("tbody", {}, ...speeds.rows.map((row) => make("tr", {}, ...cells(row))))));
}

function drawMargins(answer) {
  const limited = answer.checks.filter((check) => check.limit !== null);
  limited.sort((a, b) => b.danger - a.danger || (a.margin ?? -9) - (b.margin ?? -9));
  const words = { fails: "beyond the limit on paper", close: "", ok: "" };
  const sources = { "estimated rating": "an estimate", assumed: "assumed" };
  $("margins").replaceChildren(...limited.map((check) => make("li", { "data-check": check.name },
    make("span", {}, check.label), marginBar(check),
    make("span", {}, number(answer.id, check.name, check.text), check.range ? ` (${check.range})` : ""),
    make("small", {}, [check.limit_text, sources[check.limit_source], check.name === "cell_count" && check.margin === 0 ? "" : words[check.verdict], check.sure].filter(Boolean).join(", ")))));
}

function drawTrim(trim) {
  $("trim").hidden = trim === null;
  if (trim === null) return;
  $("trim-words").textContent = trim.words.join(" ");
  const heads = trim.heads.map((text) => make("th", { scope: "col" }, text));
  const rows = trim.rows.map((cells) => make("tr", {}, ...cells.map((text) => make("td", {}, text))));
  $("cures").replaceChildren(...(rows.length ? [make("table", {}, make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows))] : []));
}

async function explain(train, name) {
  try {
    const told = await ask("explain", { train, name });
    $("explain-title").textContent = told.title;
    const rows = told.inputs.map((each) => make("tr", {},
      make("th", { scope: "row" }, [each.label, each.symbol].filter(Boolean).join(", ")),
      make("td", {}, each.text), make("td", {}, each.source)));
    const heads = ["What goes in", "Value", "Source"].map((text) => make("th", { scope: "col" }, text));
    $("explained").replaceChildren(
      make("p", { class: "formula" }, [told.formula, told.arithmetic].filter(Boolean).join(" = ")),
      make("p", {}, told.state ? `Taken at: ${told.state}.` : ""),
      make("table", {}, make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows)),
      make("p", {}, told.sure), make("p", {}, told.note), make("p", {}, told.limit ? `Limit: ${told.limit}.` : "No limit is asked."),
      make("details", {}, make("summary", {}, "Assumptions"), make("ul", {}, ...told.assumptions.map((text) => make("li", {}, text)))));
    $("explain").showModal();
  } catch (error) { complain(error); }
}
$("explain-close").addEventListener("click", () => $("explain").close());

// ------------------------------------------------------------ the map

async function useMap(answer) {
  if (state.stock?.stock !== answer.stock) state.stock = await ask("parts");
  const { stock, parts } = { stock: state.stock, parts: answer.parts };
  const size = answer.flight_minutes.length, of = (i) => [0, 1, 2, 3].map((kind) => parts[4 * i + kind]);
  state.marks = {
    size, front: answer.front, minutes: answer.flight_minutes, thrust: answer.thrust_to_weight, mass: answer.all_up_mass_g,
    rows: Array.from({ length: size }, (_, i) => of(i).join()), cells: Array.from({ length: size }, (_, i) => stock.cells[parts[4 * i + 2]]),
    id: (i) => of(i).map((at, kind) => stock[["motor", "controller", "pack", "propeller"][kind]][at]).join(" + "),
  };
  const drawn = size < answer.total ? `, ${size} of them drawn` : "";
  $("count").textContent = `${answer.total} of ${answer.combinations} combinations meet the brief${drawn}.`;
  showMap(answer.moving);
  showBests();
  say("");
  document.body.dataset.mapped = String(answer.seq);
  document.body.dataset.steps = String(answer.edits);
  if (!state.train && answer.total) best().catch(complain);
}

const map = createMap({
  pick: (index) => pick(state.marks.id(index)), tell, chosen: () => state.marks.rows.findIndex((_, i) => state.marks.id(i) === state.train),
});
$("map").append(map.root);

function showMap(moving = false) {
  map.update(state.marks, moving);
  ring();
}

// Where the picked train is now, on a map that may be of a moment ago.
function ring() {
  const of = (name) => state.last.numbers?.find((each) => each.name === name).value ?? null;
  const ends = (name) => state.last.numbers?.filter((each) => each.name === name).flatMap((each) => [each.low, each.high]) ?? [];
  map.ring(of("thrust_to_weight"), of("flight_time"), ends("thrust_to_weight"), ends("flight_time"));
}

function tell(index) {
  const m = state.marks;
  $("reading").textContent = index < 0 ? "" :
    `${m.cells[index]}S, ${m.minutes[index].toFixed(1)} min, thrust to weight ${m.thrust[index].toFixed(2)}, ${m.mass[index].toFixed(0)} g: ${m.id(index)}`;
}

function pick(id) {
  state.train = id;
  state.version += 1;
  state.looks += 1;
  return askTrain();
}

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

async function best(cells) {
  const { edits } = state, look = (state.looks += 1);
  say("Looking for the best");
  const found = await ask("best");
  if (look !== state.looks || edits !== state.edits) return;
  say("");
  const id = cells ? found.by_cells[cells] : found.id;
  if (id) {
    await pick(id);
    if (!cells) say(found.how);
  }
  else if (cells) say(`Nothing on ${cells}S meets the brief`);
  else $("parts").textContent = `Nothing meets the brief. Lost most to: ${found.left_out.slice(0, 3).map((each) => each.check).join(", ")}.`;
}

// ------------------------------------------------------------ side by side

$("pin").addEventListener("click", () => {
  state.pins.push(state.last);
  showPins();
});

async function askPins() {
  const { version, edits } = state;
  for (let at = 0; at < state.pins.length; at += 1) {
    try {
      const answer = await ask("train", { train: state.pins[at].id });
      if (version !== state.version || edits !== state.edits) return;
      state.pins[at] = answer;
    } catch { return; }
  }
  showPins();
}

function showPins() {
  const pins = state.pins;
  $("pins").hidden = pins.length === 0;
  $("pin").disabled = pins.some((each) => each.id === state.train) || pins.length >= 3;
  if (!pins.length) return;
  $("compare-chart").replaceChildren(drawCompare(pins));
  const drop = (at) => {
    const button = make("button", { type: "button", "aria-label": `unpin train ${"ABC"[at]}` }, "unpin");
    button.addEventListener("click", () => { state.pins.splice(at, 1); showPins(); });
    return button;
  };
  const row = (label, cell) => make("tr", {}, make("th", { scope: "row" }, label), ...pins.map((each) => make("td", {}, ...[cell(each)].flat())));
  const heads = pins.map((each, at) => make("th", { scope: "col" }, `${"ABC"[at]}: ${each.cells}S `, drop(at)));
  $("compare").replaceChildren(make("table", {},
    make("thead", {}, make("tr", {}, make("td", {}), ...heads)),
    make("tbody", {},
      ...["motor", "propeller", "controller", "pack"].map((kind) => row(kind, (each) => each.parts.find((part) => part.kind === kind).name)),
      row("radio and payload", (each) => each.supply),
      ...pins[0].numbers.map((first, at) => row(first.label, (each) => [number(each.id, first.name, each.numbers[at].text), each.numbers[at].range ? ` (${each.numbers[at].range})` : ""])),
      row("nearest to its limit", (each) => each.closest ?? "-"),
      row("brief", (each) => (each.meets ? "met on paper" : `missed: ${each.misses.join("; ")}`)),
      row("every limit kept in, of 100 builds", (each) => (100 * each.chance_all_limits).toFixed(0)))));
}

// ------------------------------------------------------------ a log of the bench

async function fitLog(file) {
  const before = state.log?.before ?? state.train;
  const log = { name: file.name, text: await file.text(), motor: before?.split(" + ")[0], before };
  say("Fitting the log");
  let answer;
  try { answer = await ask("fit", { log, train: state.train }); }
  catch (error) {
    if (!(error instanceof Faulty)) { complain(error); return; }
    answer = { words: ["Nothing can be fitted."], open: [], wrong: error.faults.map((fault) => fault.text), svg: "", motor: null };
  }
  say("");
  $("fit-words").textContent = answer.words.join(" ");
  $("fit-wrong").replaceChildren(...[...answer.wrong, ...answer.open].map((text) => make("li", {}, text)));
  $("fit").replaceChildren(...(answer.svg ? [new DOMParser().parseFromString(answer.svg, "image/svg+xml").documentElement] : []));
  if (answer.motor) {
    state.log = log;
    $("fit-used").textContent = `The page now knows this motor as ${answer.motor}${answer.train ? ", and flies the picked train with it" : ""}. 'propmatch fit --save' keeps it.`;
    if (answer.train) await pick(answer.train);
    refresh();
  } else { await leaveLog(); $("fit-used").textContent = "Too little for a motor: nothing changes."; }
  $("log-leave").hidden = !state.log;
  document.body.dataset.fitted = file.name;
}

async function leaveLog() {
  if (!state.log) return;
  const { before } = state.log;
  Object.assign(state, { log: null, pins: state.pins.filter((each) => !each.id.startsWith("bench/")) });
  $("log-leave").hidden = true;
  if (before) await pick(before);
  refresh();
}

$("log").addEventListener("change", () => { if ($("log").files.length) fitLog($("log").files[0]); });
$("log-leave").addEventListener("click", () => {
  for (const place of ["fit", "fit-wrong"]) $(place).replaceChildren();
  for (const place of ["fit-words", "fit-used"]) $(place).textContent = "";
  $("log").value = "";
  leaveLog();
});
addEventListener("dragover", (event) => event.preventDefault());
addEventListener("drop", (event) => {
  event.preventDefault();
  if (event.dataTransfer.files.length) fitLog(event.dataTransfer.files[0]);
});

// ------------------------------------------------------------ keeping it

async function save(replace) {
  try {
    const answer = await ask("save", { file: $("file").value, replace });
    if (answer.status === 409) {
      $("ask-words").textContent = `${answer.file} exists in ${state.folder}. Replacing it loses what it holds, its comments too.`;
      $("ask").showModal();
    } else { $("saved").textContent = `Saved as ${answer.file}.`; }
  } catch (error) {
    if (error instanceof Faulty) $("saved").textContent = `Not saved: ${error.faults.map((fault) => fault.text).join("; ")}`;
    else complain(error);
  }
}
$("saving").addEventListener("submit", (event) => { event.preventDefault(); save(false); });
$("ask-yes").addEventListener("click", () => { $("ask").close(); save(true); });
$("ask-no").addEventListener("click", () => { $("ask").close(); $("saved").textContent = "Not saved; the file is as it was."; });

$("sheet").addEventListener("click", async () => {
  say("Making the build sheet");
  try {
    const link = make("a", { href: URL.createObjectURL(await ask("sheet", { train: state.train })), download: "sheet.html" });
    link.click();
    say("The build sheet is in your downloads");
  } catch (error) { complain(error); }
});

// ------------------------------------------------------------ start

function fitted() {
  fit($("map").clientWidth);
  if (state.marks) showMap();
  if (state.last.chart) $("chart").replaceChildren(drawChart(state.last.chart));
  showPins();
}
addEventListener("resize", () => { clearTimeout(state.sized); state.sized = setTimeout(fitted, 100); });
fitted();

const start = await (await fetch("start")).json();
Object.assign(state, { text: start.text, folder: start.folder });
$("file").value = start.file;
await askBrief();
await best().catch(complain);
await askMap();
