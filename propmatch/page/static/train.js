// The picked train: parts, numbers, chart, checks, trim.
import { gesture, remember } from "./address.js";
import { channel } from "./asking.js";
import { createBar } from "./bars.js";
import { createChart } from "./drawing.js";
import { number } from "./explain.js";
import { say, settled } from "./faults.js";
import { sized } from "./plot.js";
import { $, make, state, tellAll } from "./state.js";

export const askTrain = channel("train", () => (state.train ? { train: state.train, moving: state.moving } : null), useTrain, {
  shows: ["parts", "numbers", "verdict", "chart", "chart-words", "margins"],
  rests: ["draws", "as-flown", "settings", "speeds", "speed-words", "trim"],
});

// Take a train up, as a step of its own to undo unless told to belong to another.
export function pick(id, by = gesture()) {
  state.train = id;
  settled("once");
  say("");
  remember(by);
  state.version += 1;
  state.looks += 1;
  return askTrain();
}

const chart = createChart();
$("chart").append(chart.root);
let room = null;

// While a number moves, numbers, checks and chart follow on paper; all else when it rests.
export function useTrain(answer) {
  state.last = answer.moving ? { ...state.last, ...answer } : answer;
  if (!answer.moving) {
    const parts = answer.parts.map((part) => make("span", { title: part.source }, part.name));
    $("parts").replaceChildren(make("strong", {}, `${answer.cells}S`), ...parts.flatMap((each) => [" ", each]), ` ${answer.supply}`);
  }
  drawStrip(answer);
  write($("verdict"), [answer.verdict, answer.beside].filter(Boolean).join(" "));
  showChart(answer.moving);
  write($("chart-words"), answer.chart.words);
  drawMargins(answer);
  tellAll("train", answer);
  document.body.dataset.drawn = String(answer.seq);
  if (answer.moving) { write($("draws"), "On paper while a number moves."); return; }
  $("as-flown").textContent = answer.as_flown.join(" ");
  $("settings").replaceChildren(...answer.settings.map((each) => make("tr", {},
    make("th", { scope: "row" }, each.set), make("td", {}, each.to), make("td", {}, each.because))));
  $("draws").textContent = `From ${answer.draws} draws of every number that nobody knows exactly.`;
  drawSpeeds(answer.speeds);
  drawTrim(answer.trim);
}

function showChart(moving) { chart.update(state.last.chart, room ??= sized($("chart"), 0.37), moving); }

export function fitChart() {
  room = null;
  if (state.last.chart) showChart();
}

// One element for each name, kept as long as the name is told, so that focus and hover outlive a step.
function keyed(list, rows, create) {
  const old = new Map([...list.children].map((each) => [each.dataset.check, each]));
  const now = rows.map((row) => {
    const element = old.get(row.name) ?? create(row);
    old.delete(row.name);
    element.use(row);
    return element;
  });
  for (const gone of old.values()) gone.remove();
  now.forEach((element, at) => { if (list.children[at] !== element) list.insertBefore(element, list.children[at] ?? null); });
}

const write = (element, text) => { if (element.textContent !== text) element.textContent = text; };

// The five numbers that stay in view.
function drawStrip(answer) {
  keyed($("numbers"), answer.strip, ({ name, explained }) => {
    const [label, range] = [make("span"), make("small")], value = explained ? number(name) : make("strong", { "data-name": name });
    const element = make("li", { "data-check": name }, label, " ", value, " ", range);
    element.use = (row) => {
      write(label, row.label);
      write(value, row.text);
      write(range, [row.beyond && row.explained ? "\u25c0 beyond its limit" : "", row.range].filter(Boolean).join("; "));
      element.classList.toggle("beyond", row.beyond);
    };
    return element;
  });
}

function drawSpeeds(speeds) {
  const cells = (row) => row.map((text, at) => make(at ? "td" : "th", at ? {} : { scope: "row" }, text));
  const heads = speeds.heads.map((text) => make("th", { scope: "col" }, text));
  $("speed-words").textContent = speeds.words.join(" ");
  $("speeds").replaceChildren(make("table", {}, make("caption", {}, speeds.head), make("thead", {}, make("tr", {}, ...heads)),
    make("tbody", {}, ...speeds.rows.map((row) => make("tr", {}, ...cells(row))))));
}

const BEYOND = "beyond the limit on paper", SOURCES = { "estimated rating": "an estimate", assumed: "assumed" };

// The nearest to its limit first; while a number moves the order stays.
function drawMargins(answer) {
  const limited = answer.checks.filter((check) => check.limit !== null), stands = new Map([...$("margins").children].map((each, at) => [each.dataset.check, at]));
  const at = ({ name }) => (answer.moving ? stands.get(name) ?? stands.size : 0);
  limited.sort((a, b) => at(a) - at(b) || b.danger - a.danger || (a.margin ?? -9) - (b.margin ?? -9));
  keyed($("margins"), limited, ({ name }) => {
    const [label, said, range, sure] = [make("span"), make("small"), make("small"), make("small")], value = number(name), bar = createBar();
    const element = make("li", { "data-check": name }, make("div", {}, label, " ", said), make("div", { class: "bar-place" }, bar.root),
      value, make("div", {}, range, " ", sure));
    element.use = (check) => {
      const beyond = check.verdict === "fails";
      write(label, check.label);
      write(said, [check.limit_text, SOURCES[check.limit_source], beyond ? BEYOND : ""].filter(Boolean).join(", "));
      write(value, check.text);
      write(range, check.range);
      write(sure, check.sure);
      bar.update(check);
      element.classList.toggle("beyond", beyond);
    };
    return element;
  });
}

function drawTrim(trim) {
  $("trim").hidden = trim === null;
  if (trim === null) return;
  $("trim-words").textContent = trim.words.join(" ");
  const heads = trim.heads.map((text) => make("th", { scope: "col" }, text));
  const rows = trim.rows.map((cells) => make("tr", {}, ...cells.map((text) => make("td", {}, text))));
  $("cures").replaceChildren(...(rows.length ? [make("table", {}, make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows))] : []));
}
