// Curves of the picked train: throttle, and the flight minute by minute; and reading off them and off the thrust chart.
import { ask } from "./asking.js";
import { fresh, panel, said, table, whileOpen } from "./panels.js";
import { axes, least, line, most, sheet, sized } from "./plot.js";
import { between, reading } from "./reading.js";
import { $, make, on, state } from "./state.js";

const DASHES = ["none", "9 4", "2 3", "10 3 2 3"], STEPS = 90;
const few = (value) => (Math.abs(value) >= 100 ? value.toFixed(0) : value.toFixed(Math.abs(value) >= 10 ? 1 : 2));

// One of the drawings above each other: lines with their bands and levels, against the axis that all share.
function pane(chart, each, size, end) {
  const made = sheet({ role: "img", "aria-label": `${each.label} against ${chart.axis}` }, "axes", "bands", "curves", "words");
  const ys = [...each.lines.flatMap(({ values }) => values), ...each.bands.flatMap(({ low, high }) => [...low, ...high])];
  const top = most(ys), bottom = Math.min(0, least(ys)), from = bottom === 0 && least(ys) > 0.5 * top ? least(ys) : bottom;
  const levels = each.levels.filter(({ value }) => value <= 1.6 * top), values = levels.map((level) => level.value);
  const low = Math.min(from, least(values)), high = Math.max(top, most(values, top)), room = 0.06 * (high - low || 1);
  const ends = [low === 0 ? 0 : low - room, high + 2 * room];
  const { x, y } = axes(made, size, [chart.x[0], end], ends, chart.axis, each.label);
  const word = (key, px, py, text) => made.put("words", `word ${key}`, "text", { class: "halo quiet", x: px.toFixed(1), y: py.toFixed(1), "text-anchor": px < 0.5 * size.wide ? "start" : "end" }, text);
  const right = size.wide - size.right - 4;
  each.bands.forEach((band, at) => {
    const points = (ends) => band.x.map((value, i) => [x(value), ends[i] === null ? null : y(ends[i])]);
    made.put("bands", `band ${band.name}`, "path", { class: `band ${at ? "need" : "full"}-band`, d: `${line([...points(band.low), ...points(band.high).reverse()].filter(([, value]) => value !== null))}Z` });
  });
  const names = [];
  each.lines.forEach((one, nth) => {
    made.put("curves", `line ${one.name}`, "path", { class: `pinned pin-${nth % 3}`, "stroke-width": 2, "stroke-dasharray": DASHES[nth % 4], d: line(chart.x.map((value, i) => [x(value), one.values[i] === null ? null : y(one.values[i])])) });
    const at = one.values.findLastIndex((value) => value !== null);
    if (at >= 0 && each.lines.length > 1) names.push({ text: one.name, x: Math.min(right, x(chart.x[at])), y: y(one.values[at]) - 6 });
  });
  levels.forEach((level) => {
    made.put("curves", `level ${level.name}`, "path", { class: "axis", "stroke-dasharray": "2 3", d: `M${size.left},${y(level.value).toFixed(1)}H${size.wide - size.right}` });
    names.push({ text: level.name, x: right, y: y(level.value) - 4 });
  });
  names.sort((a, b) => b.y - a.y).forEach((name, at) => {
    if (at && names[at - 1].y - name.y < 14 * size.unit) name.y = names[at - 1].y - 14 * size.unit;
    word(name.text, name.x, Math.max(name.y, 12 * size.unit), name.text);
  });
  made.done();
  return made.root;
}

// A panel whose drawing is asked for when it is opened.
function curve(what, id, title, label) {
  const { whole, body } = panel("train-panels", id, title, { wide: true }), read = reading(`${id}-read`, label);
  let told = null;

  function draw() {
    const end = most([...told.x, ...told.panes.flatMap((each) => each.bands.flatMap((band) => band.x))]), beside = make("div", { class: "beside" });
    body.replaceChildren(beside);
    const size = sized({ clientWidth: Math.min(beside.clientWidth, Math.max(beside.clientWidth / told.panes.length - 32, 384)) }, 0.5);
    const roots = told.panes.map((each) => pane(told, each, size, end));
    beside.append(...roots);
    body.append(...(roots.length ? [read.row] : []), said(told.words), ...(told.rows.length ? [table(told.heads, told.rows, told.title)] : []));
    const [from, to] = [told.x[0], told.x.at(-1)], places = roots.length ? Array.from({ length: STEPS + 1 }, (_, at) => from + at / STEPS * (to - from)) : [];
    read.use(roots, places, (at) => [`${few(places[at])} ${told.axis.split(", ").pop()}`, ...told.panes.flatMap((each) => each.lines.flatMap((one) => {
      const value = between(told.x, one.values, places[at]), unit = each.label.split(", ").pop(), band = each.bands.find((other) => other.name === one.name);
      if (value === null) return [];
      const ends = band && [between(band.x, band.low, places[at]), between(band.x, band.high, places[at])];
      return [`${one.name} ${few(value)} ${unit}${ends && ends[0] !== null ? ` (${few(ends[0])} to ${few(ends[1])})` : ""}`];
    }))].join("; "));
    body.classList.add("drawing");
  }

  async function go() {
    const { train, version, edits } = state;
    if (!train) return;
    const answer = await ask(what, { train });
    if (version !== state.version || edits !== state.edits) return;
    told = answer;
    draw();
    body.dataset.of = train;
    fresh(whole);
  }
  whileOpen(whole, go, "train");
  addEventListener("resize", () => { if (told && whole.open) draw(); });
  return async () => {
    whole.open = true;
    await go();
    return told;
  };
}

export const told = {
  throttle: curve("throttle", "throttle", "Thrust and current against throttle", "read at throttle"),
  flight: curve("flight", "flight", "The flight, minute by minute", "read at minute"),
};

// The thrust chart, read at an airspeed.
const read = reading("chart-read", "read at airspeed");
$("chart").after(read.row);
on("train", ({ chart }) => {
  const root = $("chart").querySelector("svg");
  if (!root?.scales) return;
  const { per_m_s: s, per_n: f, speed, thrust } = chart.units, v = chart.airspeed_m_s;
  const value = (values, at) => (values[at] === null ? null : few(values[at] * f));
  read.use([root], v.map((each) => each * s), (at) => {
    const band = (name) => {
      const one = chart.bands.find((each) => each.name === name);
      const ends = one && [between(one.airspeed_m_s, one.low_n, v[at]), between(one.airspeed_m_s, one.high_n, v[at])];
      return ends && ends[0] !== null && ends[1] !== null ? ` (${few(ends[0] * f)} to ${few(ends[1] * f)})` : "";
    };
    const needed = value(chart.needed_n, at);
    return [`${few(v[at] * s)} ${speed}`,
      needed === null ? "below stall" : `level flight needs ${needed} ${thrust}${band("need")}`,
      ...chart.curves.flatMap((each, i) => (value(each.thrust_n, at) === null ? [] : [`${each.name} ${value(each.thrust_n, at)} ${thrust}${i === 0 ? band("full") : ""}`]))].join("; ");
  });
});
