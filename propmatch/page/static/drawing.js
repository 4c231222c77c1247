// Charts over airspeed.
import { axes, line, most, sheet } from "./plot.js";

// Moves labels up until they stand a gap apart, and down again from the top where there is no room; lowest first.
function apart(places, gap, top = -Infinity) {
  const sorted = [...places].sort((a, b) => b.y - a.y);
  for (let at = 1; at < sorted.length; at += 1) sorted[at].y = Math.min(sorted[at].y, sorted[at - 1].y - gap);
  for (let at = sorted.length - 1, room = top; at >= 0; at -= 1, room += gap) sorted[at].y = Math.max(sorted[at].y, room);
  return sorted;
}

// Thrust of the picked train, and what level flight needs. The drawing lives on: a step rewrites what it changes.
export function createChart() {
  const made = sheet({ role: "img" }, "axes", "curves", "words");
  const { put } = made;
  let held = 0;

  function update(chart, size, moving) {
    const { wide, unit, left } = size, { per_m_s: s, per_n: f, speed, thrust } = chart.units;
    const v = chart.airspeed_m_s.map((each) => each * s);
    const of = (values) => values.map((each) => (each === null ? null : each * f));
    const wanted = 1.06 * most([...of(chart.curves[0].thrust_n), ...of(chart.bands[0]?.high_n ?? []), ...chart.points.map((each) => each.thrust_n * f)]);
    const high = held = moving && wanted <= held && wanted > 0.5 * held ? held : wanted; // the scale rests while a number moves
    made.set({ "aria-label": `Thrust against airspeed. ${chart.words}` });
    const { x, y } = axes(made, size, [0, v[v.length - 1]], [0, high], `airspeed, ${speed}`, `thrust, ${thrust}`);
    const inside = (value) => (value === null || value < 0 || value > high ? null : y(value));
    const points = (values) => of(values).map((value, at) => [x(v[at]), inside(value)]);
    const word = (key, px, py, text, kind, anchor = "start") =>
      put("words", key, "text", { class: `halo ${kind}`, x: px.toFixed(1), y: py.toFixed(1), "text-anchor": anchor }, text);
    for (const band of chart.bands) {
      const at = (values) => values.map((value, i) => [x(band.airspeed_m_s[i] * s), value === null ? null : y(Math.min(high, Math.max(0, value * f)))]);
      const both = [...at(band.low_n), ...at(band.high_n).reverse()].filter(([, each]) => each !== null);
      put("curves", `band ${band.name}`, "path", { class: `band ${band.name}-band`, d: `${line(both)}Z` });
    }
    const kinds = ["full", "late"];
    chart.curves.forEach((curve, at) => put("curves", `curve ${at}`, "path", { class: kinds[at] ?? "part", d: line(points(curve.thrust_n)) }));
    put("curves", "need", "path", { class: "need", d: line(points(chart.needed_n)) });
    const starts = chart.curves.filter((curve) => curve.thrust_n[0] !== null)
      .map((curve) => ({ text: curve.name, y: (inside(curve.thrust_n[0] * f) ?? y(high)) - 4 }));
    for (const place of apart(starts, 18 * unit, 14 * unit)) word(`name ${place.text}`, left + 6, place.y, place.text, "quiet");
    const stall = x(chart.stall_m_s * s);
    put("curves", "stall", "path", { class: "axis", d: `M${stall.toFixed(1)},${y(0)}V${y(0.12 * high).toFixed(1)}`, "stroke-dasharray": "2 3" });
    word("stall", stall - 4, y(0) - 5, "stall", "", "end");
    const ends = points(chart.needed_n).filter(([, each]) => each !== null);
    const last = ends[ends.length - 1];
    const low = last && last[1] > y(0.5 * high);
    if (last) word("needed", Math.min(last[0] - 6, wide - 12), last[1] + (low ? -10 : 16) * unit, "needed in level flight", "", "end");
    const marked = chart.points.map((point) => ({ text: point.name, x: x(point.airspeed_m_s * s), at: y(point.thrust_n * f), y: y(point.thrust_n * f) + 16 * unit }));
    marked.forEach((point, at) => put("curves", `point ${at}`, "path",
      { class: "axis cross", d: `M${point.x - 5},${point.at - 5}l10,10m-10,0l10,-10` }));
    for (const point of apart(marked, 13 * unit)) {
      const right = point.x > 0.75 * wide;
      word(`phase ${point.text}`, point.x + (right ? -8 : 8), Math.min(point.y, y(0) - 4), point.text, "", right ? "end" : "start");
    }
    made.done();
  }
  return { root: made.root, update };
}

const DASHES = ["none", "8 4", "2 3"];

export function drawCompare(pins, size) {
  const made = sheet({ role: "img", "aria-label": "Full throttle, full pack, of the power trains, and what each needs in level flight" }, "axes", "curves", "words");
  const { per_m_s: s, per_n: f, speed, thrust } = pins[0].chart.units, { wide, unit, right, top } = size;
  const fastest = most(pins.flatMap((each) => each.chart.airspeed_m_s)) * s;
  const high = 1.3 * most(pins.flatMap((each) => each.chart.curves[0].thrust_n)) * f;
  const { x, y } = axes(made, size, [0, fastest], [0, high], `airspeed, ${speed}`, `thrust, ${thrust}`);
  const word = (key, row, text, kind = "") => made.put("words", key, "text",
    { class: `halo ${kind}`, x: wide - right - 4, y: row, "text-anchor": "end" }, text);
  pins.forEach(({ chart, cells }, at) => {
    const path = (values) => line(values.map((value, i) => [x(chart.airspeed_m_s[i] * s), value === null || value < 0 || value * f > high ? null : y(value * f)]));
    for (const [name, values, width] of [["full", chart.curves[0].thrust_n, 2.6], ["need", chart.needed_n, 1.1]]) {
      made.put("curves", `${name} ${at}`, "path", { class: `pinned pin-${at}`, d: path(values), "stroke-width": width, "stroke-dasharray": DASHES[at] });
    }
    const row = top + (8 + 16 * at) * unit, from = wide - right - 205 * unit;
    made.put("curves", `key ${at}`, "path", { class: `pinned pin-${at}`, d: `M${from},${row}h${30 * unit}`, "stroke-width": 2.6, "stroke-dasharray": DASHES[at] });
    word(`name ${at}`, row + 4 * unit, `${"ABC"[at]}, ${cells}S, full throttle`);
  });
  word("thin", top + (12 + 16 * pins.length) * unit, "thin: needed in level flight", "quiet");
  made.done();
  return made.root;
}
