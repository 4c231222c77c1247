// Drawings as SVG from plain numbers.
const SPACE = "http://www.w3.org/2000/svg";
let WIDE = 620, HIGH = 400;
const LEFT = 58, RIGHT = 14, TOP = 14, BOTTOM = 46;

// Drawings have the width of their place, so that letters keep their size on a phone.
export function fit(width) {
  WIDE = Math.round(Math.min(680, Math.max(300, width)));
  HIGH = Math.round(WIDE * (WIDE < 460 ? 0.85 : 0.66));
}

function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SPACE, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

const finite = (values) => values.filter((value) => value !== null && Number.isFinite(value));
const most = (values, other = 1) => finite(values).reduce((a, b) => Math.max(a, b), -Infinity) || other;
const least = (values, other = 0) => finite(values).reduce((a, b) => Math.min(a, b), Infinity) ?? other;

function ticks(low, high, about = 6) {
  const rough = (high - low) / about || 1;
  const unit = 10 ** Math.floor(Math.log10(rough));
  const step = unit * [1, 2, 5, 10].find((each) => each * unit >= rough);
  const found = [];
  for (let value = Math.ceil(low / step) * step; value <= high + step * 1e-9; value += step) found.push(Number(value.toPrecision(10)));
  return found;
}

// A frame with axes; gives back scales from numbers to the drawing.
function frame(title, xs, ys, xLabel, yLabel, attributes = {}) {
  const [x0, x1] = xs, [y0, y1] = ys;
  const x = (value) => LEFT + (value - x0) / (x1 - x0 || 1) * (WIDE - LEFT - RIGHT);
  const y = (value) => HIGH - BOTTOM - (value - y0) / (y1 - y0 || 1) * (HIGH - TOP - BOTTOM);
  const root = svg("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", "aria-label": title, ...attributes });
  for (const value of ticks(x0, x1)) {
    root.append(svg("line", { class: "grid", x1: x(value), x2: x(value), y1: y(y0), y2: y(y1) }),
      svg("text", { x: x(value), y: HIGH - BOTTOM + 17, "text-anchor": "middle" }, String(value)));
  }
  for (const value of ticks(y0, y1)) {
    root.append(svg("line", { class: "grid", x1: x(x0), x2: x(x1), y1: y(value), y2: y(value) }),
      svg("text", { x: LEFT - 7, y: y(value) + 4, "text-anchor": "end" }, String(value)));
  }
  root.append(svg("path", { class: "axis", d: `M${x(x0)},${TOP}V${y(y0)}H${WIDE - RIGHT}` }),
    svg("text", { x: (LEFT + WIDE - RIGHT) / 2, y: HIGH - 9, "text-anchor": "middle" }, xLabel),
    svg("text", { transform: `translate(15,${(TOP + HIGH - BOTTOM) / 2}) rotate(-90)`, "text-anchor": "middle" }, yLabel));
  return { root, x, y };
}

function line(points) {
  let d = "", pen = "M";
  for (const [x, y] of points) {
    if (x === null || y === null) { pen = "M"; continue; }
    d += `${pen}${x.toFixed(1)},${y.toFixed(1)}`;
    pen = "L";
  }
  return d;
}

// ------------------------------------------------------------ the map

const SHAPES = {
  1: (r) => `M0,${-r}L${r},0L0,${r}L${-r},0Z`,
  2: (r) => `M${-r},0a${r},${r} 0 1,0 ${2 * r},0a${r},${r} 0 1,0 ${-2 * r},0Z`,
  3: (r) => `M0,${-1.2 * r}L${1.1 * r},${0.8 * r}L${-1.1 * r},${0.8 * r}Z`,
  4: (r) => `M${-r},${-r}H${r}V${r}H${-r}Z`,
};
const cross = (r) => `M${-r},${-0.4 * r}H${-0.4 * r}V${-r}H${0.4 * r}V${-0.4 * r}H${r}V${0.4 * r}H${0.4 * r}V${r}H${-0.4 * r}V${0.4 * r}H${-r}Z`;
const shape = (cells, r) => (SHAPES[cells] ?? cross)(r);

// The map lives as long as its place on the page: a step moves, shows or hides marks that are there already.
export function createMap({ pick, tell, chosen }) {
  const root = svg("svg", { class: "map", role: "application", tabindex: "0", "aria-describedby": "map-help" });
  const axes = svg("g"), layers = { rest: svg("g"), front: svg("g") }, legend = svg("g");
  const ring = svg("circle", { class: "chosen", r: 11 }), cursor = svg("circle", { class: "cursor", r: 14 }), reach = svg("path", { class: "reach" });
  root.append(axes, layers.rest, layers.front, legend);
  const pools = { rest: new Map(), front: new Map() };
  let marks = { size: 0 }, spans = null, x = null, y = null, px = [], py = [], at = -1, lightest = 0, heaviest = 1, size = "";

  const pad = (low, high) => { const room = 0.05 * (high - low) || 0.1 * high; return [Math.max(0, low - room), high + room]; };
  const radius = (grams) => 2.2 + Math.round(8 * Math.min(1, Math.max(0, (grams - lightest) / (heaviest - lightest || 1)))) / 2;

  // While a number moves the axes stay, as long as the marks are within them and fill half of each.
  function holds(wanted) {
    return spans && wanted.every(([low, high], i) => low >= spans[i][0] && high <= spans[i][1] && high - low >= 0.5 * (spans[i][1] - spans[i][0]));
  }

  function scale(moving) {
    const some = marks.size > 0;
    const ends = (values) => [least(values), most(values)];
    const exact = some ? [ends(marks.thrust), ends(marks.minutes)] : [[0, 1], [0, 10]];
    const now = `${WIDE} ${HIGH}`;
    if (moving && now === size && holds(exact)) return;
    spans = some ? exact.map(([low, high]) => pad(low, high)) : exact;
    [lightest, heaviest] = some ? ends(marks.mass) : [0, 1];
    size = now;
    const made = frame("", spans[0], spans[1], "thrust to weight, static, half charge", "flight time, minutes");
    ({ x, y } = made);
    root.setAttribute("viewBox", `0 0 ${WIDE} ${HIGH}`);
    axes.replaceChildren(...made.root.childNodes);
    if (!some) axes.append(svg("text", { x: WIDE / 2, y: HIGH / 2, "text-anchor": "middle" }, "Nothing meets the brief."));
    explainMarks();
  }

  function explainMarks() {
    const kinds = marks.size ? [...new Set(marks.cells)].sort() : [];
    const line = (top, r, count, text) => [
      svg("path", { class: "mark front", d: shape(count, r), transform: `translate(${WIDE - 64},${top})` }),
      svg("text", { class: "halo", x: WIDE - 52, y: top + 4 }, text)];
    legend.replaceChildren(...kinds.flatMap((count, i) => line(TOP + 12 + 19 * i, 5, count, `${count}S`)),
      ...(kinds.length ? [...line(TOP + 16 + 19 * kinds.length, radius(lightest), kinds[0], `${lightest.toFixed(0)} g`),
        ...line(TOP + 35 + 19 * kinds.length, radius(heaviest), kinds[0], `${heaviest.toFixed(0)} g`)] : []));
  }

  function place(pool, layer, kind, key, i, moving) {
    let mark = pool.get(key);
    if (!mark) {
      mark = { element: svg("path", { class: kind, "data-row": key }), where: "", form: "", away: false };
      pool.set(key, mark);
      layer.append(mark.element);
    }
    const where = `translate(${px[i].toFixed(1)},${py[i].toFixed(1)})`, form = `${marks.cells[i]} ${radius(marks.mass[i])}`;
    if (where !== mark.where) mark.element.setAttribute("transform", mark.where = where);
    if (form !== mark.form && !(moving && mark.form)) { mark.element.setAttribute("d", shape(marks.cells[i], radius(marks.mass[i]))); mark.form = form; }
    if (mark.away) { mark.element.classList.remove("away"); mark.away = false; }
    mark.seen = marks;
  }

  function update(newest, moving) {
    const kept = at >= 0 ? marks.rows[at] : null;
    marks = newest;
    scale(moving);
    root.setAttribute("aria-label", `Map of ${marks.size} combinations: flight time against thrust to weight. Arrow keys move, Enter picks.`);
    px = marks.size ? marks.thrust.map(x) : [];
    py = marks.size ? marks.minutes.map(y) : [];
    // heavy ones first, so that light ones lie on top; while a number moves the order stays
    const order = Array.from({ length: marks.size }, (_, i) => i).sort((a, b) => marks.mass[b] - marks.mass[a]);
    if (!moving) for (const [name, layer] of Object.entries(layers)) { pools[name].clear(); layer.replaceChildren(); }
    for (const i of moving ? order.keys() : order) {
      const name = i < marks.front ? "front" : "rest";
      place(pools[name], layers[name], i < marks.front ? "mark front" : "mark", marks.rows[i], i, moving);
    }
    for (const pool of Object.values(pools)) {
      const crowded = pool.size > 3000;
      for (const [key, mark] of pool) {
        if (mark.seen === marks) continue;
        if (crowded) { mark.element.remove(); pool.delete(key); } else if (!mark.away) { mark.element.classList.add("away"); mark.away = true; }
      }
    }
    at = kept === null ? -1 : marks.rows.indexOf(kept);
    cursor.remove();
  }

  function around(w, t, ws, ts) {
    reach.remove();
    ring.remove();
    if (!x || !marks.size) return;
    const within = (value, low, high) => Math.min(high, Math.max(low, value));
    const [across, along] = [ws, ts].map((ends) => ends.length === 2 && finite(ends).length === 2);
    if (w !== null && t !== null && across && along) {
      const [x0, x1] = ws.map((value) => within(x(value), LEFT, WIDE - RIGHT)), [y0, y1] = ts.map((value) => within(y(value), TOP, HIGH - BOTTOM));
      const [cx0, cy0] = [within(x(w), LEFT, WIDE - RIGHT), within(y(t), TOP, HIGH - BOTTOM)];
      reach.setAttribute("d", `M${x0},${cy0}H${x1}M${cx0},${y0}V${y1}`);
      root.append(reach);
    }
    const [cx, cy] = w === null || t === null ? [-1, -1] : [x(w), y(t)];
    if (cx < LEFT || cx > WIDE - RIGHT || cy < TOP || cy > HIGH - BOTTOM) return;
    ring.setAttribute("cx", cx);
    ring.setAttribute("cy", cy);
    root.append(ring);
  }

  const move = (to) => {
    at = to;
    cursor.setAttribute("cx", px[at]);
    cursor.setAttribute("cy", py[at]);
    root.append(cursor);
    tell(at);
  };
  const nearest = (px0, py0, test) => {
    let found = -1, best = Infinity;
    for (let each = 0; each < marks.size; each += 1) {
      const dx = px[each] - px0, dy = py[each] - py0, far = test(dx, dy);
      if (far !== null && far < best) { best = far; found = each; }
    }
    return found;
  };
  const WAYS = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  root.addEventListener("keydown", (event) => {
    const way = WAYS[event.key];
    if (way && marks.size) {
      event.preventDefault();
      if (at < 0) at = chosen();
      if (at < 0) { move(0); return; }
      const to = nearest(px[at], py[at], (dx, dy) => {
        const along = dx * way[0] + dy * way[1], across = Math.abs(dx * way[1]) + Math.abs(dy * way[0]);
        return along > 0.5 ? along + 2 * across : null;
      });
      if (to >= 0) move(to);
    } else if ((event.key === "Enter" || event.key === " ") && at >= 0) {
      event.preventDefault();
      pick(at);
    }
  });
  const under = (event) => {
    const box = root.getBoundingClientRect(), scaled = WIDE / box.width;
    const [cx, cy] = [(event.clientX - box.left) * scaled, (event.clientY - box.top) * scaled];
    const to = nearest(cx, cy, (dx, dy) => dx * dx + dy * dy);
    return to >= 0 && Math.hypot(px[to] - cx, py[to] - cy) < 24 ? to : -1;
  };
  root.addEventListener("pointermove", (event) => { const to = under(event); if (to >= 0) tell(to); });
  root.addEventListener("click", (event) => { const to = under(event); if (to >= 0) { move(to); pick(to); } });
  return { root, update, ring: around };
}

// ------------------------------------------------------------ charts over airspeed

function labelled(root, x, y, text, more = {}) {
  root.append(svg("text", { class: "halo", x, y, ...more }, text));
}

function apart(places, gap) {
  const sorted = places.map((place, at) => ({ ...place, at })).sort((a, b) => b.y - a.y);
  for (let at = 1; at < sorted.length; at += 1) sorted[at].y = Math.min(sorted[at].y, sorted[at - 1].y - gap);
  return sorted;
}

export function drawChart(chart) {
  const { per_m_s: s, per_n: f, speed, thrust } = chart.units;
  const v = chart.airspeed_m_s.map((each) => each * s);
  const of = (values) => values.map((each) => (each === null ? null : each * f));
  const high = 1.06 * most([...of(chart.curves[0].thrust_n), ...of(chart.bands[0]?.high_n ?? []), ...chart.points.map((each) => each.thrust_n * f)]);
  const { root, x, y } = frame(`Thrust against airspeed. ${chart.words}`, [0, v[v.length - 1]], [0, high], `airspeed, ${speed}`, `thrust, ${thrust}`);
  const inside = (value) => (value === null || value < 0 || value > high ? null : y(value));
  const points = (values) => of(values).map((value, at) => [x(v[at]), inside(value)]);
  const [fresh, late, ...others] = chart.curves;
  for (const band of chart.bands) {
    const at = (values) => values.map((value, i) => [x(band.airspeed_m_s[i] * s), value === null ? null : y(Math.min(high, Math.max(0, value * f)))]);
    const both = [...at(band.low_n), ...at(band.high_n).reverse()].filter(([, each]) => each !== null);
    root.append(svg("path", { class: `band ${band.name}-band`, d: `${line(both)}Z` }));
  }
  for (const curve of others) root.append(svg("path", { class: "part", d: line(points(curve.thrust_n)) }));
  root.append(svg("path", { class: "full", d: line(points(fresh.thrust_n)) }), svg("path", { class: "late", d: line(points(late.thrust_n)) }),
    svg("path", { class: "need", d: line(points(chart.needed_n)) }));
  const starts = chart.curves.filter((curve) => curve.thrust_n[0] !== null).map((curve) => ({ text: curve.name, y: y(curve.thrust_n[0] * f) - 4 }));
  for (const place of apart(starts, 15)) labelled(root, LEFT + 6, place.y, place.text, { class: "halo quiet" });
  const stall = x(chart.stall_m_s * s);
  root.append(svg("line", { class: "axis", x1: stall, x2: stall, y1: y(0), y2: y(0.12 * high), "stroke-dasharray": "2 3" }));
  labelled(root, stall - 4, y(0) - 5, "stall", { "text-anchor": "end" });
  const ends = points(chart.needed_n).filter(([, each]) => each !== null);
  if (ends.length) labelled(root, ends[ends.length - 1][0] - 6, ends[ends.length - 1][1] + 16, "needed in level flight", { "text-anchor": "end" });
  for (const point of chart.points) {
    const [px, py] = [x(point.airspeed_m_s * s), y(point.thrust_n * f)];
    root.append(svg("path", { class: "axis", d: `M${px - 6},${py - 6}L${px + 6},${py + 6}M${px - 6},${py + 6}L${px + 6},${py - 6}`, "stroke-width": "2.5" }));
    labelled(root, px + 9, py + 17, point.name);
  }
  return root;
}

const LINES = [["#005a9c", "none"], ["#b34a00", "8 4"], ["#1d2733", "2 3"]];

export function drawCompare(pins) {
  const { per_m_s: s, per_n: f, speed, thrust } = pins[0].chart.units;
  const right = most(pins.flatMap((each) => each.chart.airspeed_m_s)) * s;
  const high = 1.3 * most(pins.flatMap((each) => each.chart.curves[0].thrust_n)) * f;
  const { root, x, y } = frame("Full throttle, full pack, of the pinned trains, and what each needs in level flight", [0, right], [0, high],
    `airspeed, ${speed}`, `thrust, ${thrust}`);
  pins.forEach(({ chart, cells }, at) => {
    const [stroke, dash] = LINES[at];
    const path = (values) => line(values.map((value, i) => [x(chart.airspeed_m_s[i] * s), value === null || value < 0 || value * f > high ? null : y(value * f)]));
    for (const [values, width] of [[chart.curves[0].thrust_n, 2.6], [chart.needed_n, 1.1]]) {
      root.append(svg("path", { d: path(values), fill: "none", stroke, "stroke-width": width, "stroke-dasharray": dash }));
    }
    const from = WIDE - RIGHT - 190, row = TOP + 8 + 17 * at;
    root.append(svg("path", { d: `M${from},${row}h34`, fill: "none", stroke, "stroke-width": 2.6, "stroke-dasharray": dash }));
    labelled(root, from + 42, row + 4, `${"ABC"[at]}, ${cells}S, full throttle`);
  });
  labelled(root, WIDE - RIGHT - 190, TOP + 12 + 17 * pins.length, "thin: needed in level flight", { class: "halo quiet" });
  return root;
}

// ------------------------------------------------------------ margins

export function marginBar(check) {
  const low = -0.6, wide = 300, x = (share) => (Math.min(1, Math.max(low, share)) - low) / (1 - low) * wide;
  const kinds = { brief: "brief", "part rating": "rating", "estimated rating": "estimated", assumed: "assumed", "common practice": "practice" };
  const share = check.margin ?? low;
  const words = check.margin === null ? "no answer" : `${Math.round(100 * check.margin)} % of the limit ${check.margin < 0 ? "beyond it" : "left"}`;
  return svg("svg", { viewBox: `0 0 ${wide} 18`, preserveAspectRatio: "none", role: "img", "aria-label": words },
    svg("rect", { class: kinds[check.limit_source] ?? "brief", x: Math.min(x(0), x(share)), width: Math.abs(x(share) - x(0)), y: 4, height: 10 }),
    svg("line", { class: "limit", x1: x(0), x2: x(0), y1: 0, y2: 18 }),
    ...(finite(check.margins ?? []).length === 2 ? [svg("path", { class: "whisker", d: `M${x(check.margins[0])},5v8m0,-4H${x(check.margins[1])}m0,-4v8` })] : []));
}
