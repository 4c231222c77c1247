// The map: flight time against thrust to weight of all that passes. Crowded marks are gathered in cells of a grid.
import { axes, finite, least, most, sheet, svg } from "./plot.js";
import { make } from "./state.js";

const CROWDED = 300, GRID = 26;
const SHAPES = {
  1: (r) => `M0,${-1.2 * r}L${r},0L0,${1.2 * r}L${-r},0Z`,
  2: (r) => `M${-r},0a${r},${r} 0 1,0 ${2 * r},0a${r},${r} 0 1,0 ${-2 * r},0Z`,
  3: (r) => `M0,${-1.2 * r}L${1.15 * r},${0.8 * r}L${-1.15 * r},${0.8 * r}Z`,
  4: (r) => `M${-0.9 * r},${-0.9 * r}H${0.9 * r}V${0.9 * r}H${-0.9 * r}Z`,
};
const cross = (r) => `M${-r},${-0.4 * r}H${-0.4 * r}V${-r}H${0.4 * r}V${-0.4 * r}H${r}V${0.4 * r}H${0.4 * r}V${r}H${-0.4 * r}V${0.4 * r}H${-r}Z`;
const shape = (cells, r) => (SHAPES[cells] ?? cross)(r);
const SIZES = [[1, 3.5, "1"], [4, 5, "2 to 4"], [15, 6.5, "5 to 15"], [Infinity, 8, "more than 15"]];
const radius = (count) => SIZES.find(([upto]) => count <= upto)[1];
const FRONT = 5.5;

// `place` puts every mark where it belongs; `follow` serves while a number moves: of a crowded map it shows and hides what
// is drawn already, and places anew only what nothing beats. In both, `drawn` holds what can be reached, longest flight first.
export function createMap({ pick, tell, chosen }) {
  const made = sheet({ class: "map", role: "application", tabindex: "0", "aria-describedby": "map-help" }, "axes", "edge", "over");
  const { root, put } = made, key = document.createElement("ul"), layers = { rest: svg("g"), front: svg("g") };
  const ring = svg("circle", { class: "chosen", r: 10 }), cursor = svg("circle", { class: "cursor", r: 13 }), reach = svg("path", { class: "reach" });
  key.className = "key";
  root.append(layers.rest, layers.front);
  let marks = { size: 0 }, size = null, spans = null, x = null, y = null, crowded = false;
  let drawn = [], front = [], rest = new Map(), at = null;

  const pad = (low, high, share) => { const room = share * (high - low) || 0.1 * high; return [Math.max(0, low - room), high + room]; };
  const ends = (values) => [least(values), most(values)];
  // While a number moves the axes stay, as long as the marks are within them and fill half of each.
  const holds = (wanted) => spans && wanted.every(([low, high], i) => low >= spans[i][0] && high <= spans[i][1] && high - low >= 0.5 * (spans[i][1] - spans[i][0]));

  function put1(one, layer, i, kind, r) {
    const px = x(marks.thrust[i]), py = y(marks.minutes[i]);
    one.element ??= svg("path");
    Object.assign(one, { i, px, py, away: false });
    for (const [name, value] of [["class", kind], ["d", shape(marks.cells[i], r)], ["transform", `translate(${px.toFixed(1)},${py.toFixed(1)})`],
      ["data-row", marks.rows(i)]]) if (one[name] !== value) one.element.setAttribute(name, one[name] = value);
    if (!one.element.parentNode) layer.append(one.element);
    return one;
  }
  function hide(one, away) {
    if (one.away === away) return;
    one.away = away;
    one.element.classList.toggle("away", away);
    one.class = null;
  }

  // What nothing beats in what the axes show, each with its own mark, and the line that nothing crosses.
  function placeFront() {
    const order = Array.from({ length: marks.front }, (_, i) => i).sort((a, b) => marks.thrust[a] - marks.thrust[b]);
    let edge = "";
    order.forEach((i, n) => {
      const one = front[n] = put1(front[n] ?? { count: 1 }, layers.front, i, "mark front", FRONT);
      edge += `${edge ? "V" : `M${size.left},`}${one.py.toFixed(1)}H${one.px.toFixed(1)}`;
    });
    for (const one of front.slice(marks.front)) hide(one, true);
    put("edge", "edge", "path", { class: "edge", d: edge && `${edge}V${size.high - size.bottom}` });
  }

  // The cells of the grid that hold marks beside the front: of each the lightest, and how many there are.
  function gathered() {
    const found = new Map(), { thrust, minutes, cells, mass } = marks;
    for (let i = marks.front; i < marks.size; i += 1) {
      const id = crowded ? (cells[i] * 256 + Math.floor(x(thrust[i]) / GRID)) * 256 + Math.floor(y(minutes[i]) / GRID) : i;
      const held = found.get(id);
      if (held === undefined) found.set(id, { i, count: 1 });
      else { held.count += 1; if (mass[i] < mass[held.i]) held.i = i; }
    }
    return found;
  }

  function place() {
    ({ x, y } = axes(made, size, spans[0], spans[1], "thrust to weight, static, half charge", "flight time, minutes"));
    if (!marks.size) put("over", "none", "text", { x: size.wide / 2, y: size.high / 2, "text-anchor": "middle" }, "Nothing meets the brief.");
    placeFront();
    made.done();
    const old = [...rest.values()], found = gathered();
    rest = new Map();
    for (const [id, { i, count }] of found) {
      const one = old.pop() ?? {};
      rest.set(id, put1(Object.assign(one, { count }), layers.rest, i, "mark", crowded ? radius(count) : FRONT));
    }
    for (const one of old) one.element.remove();
    for (const one of front.splice(marks.front)) one.element.remove();
    explainMarks();
  }

  function follow() {
    placeFront();
    const found = gathered();
    for (const [id, one] of rest) {
      const here = found.get(id);
      hide(one, here === undefined);
      if (here) one.i = here.i;
    }
    for (const [id, { i, count }] of found) if (!rest.has(id)) rest.set(id, put1({ count }, layers.rest, i, "mark", radius(count)));
  }

  function explainMarks() {
    const some = [...front, ...rest.values()], kinds = [...new Set(some.map((one) => marks.cells[one.i]))].sort();
    const entry = (kind, d, text) => {
      const item = document.createElement("li");
      item.append(svg("svg", { viewBox: "-10 -10 20 20", "aria-hidden": "true" }, svg("path", { class: kind, d })), text);
      return item;
    };
    const counts = crowded ? SIZES.filter(([upto], n) => some.some(({ count }) => count <= upto && count > (SIZES[n - 1]?.[0] ?? 0))) : [];
    key.replaceChildren(...kinds.map((cells) => entry("mark", shape(cells, FRONT), `${cells}S`)),
      ...(marks.front ? [entry("mark front", shape(kinds[0], FRONT), "nothing else is better in both")] : []),
      ...counts.map(([, r, words]) => entry("mark", shape(kinds[0], r), words)));
    if (counts.length) key.append(make("li", {}, "combinations in one mark"));
  }

  function update(newest, room, moving = false) {
    const kept = at === null ? null : marks.rows(at.i), before = crowded;
    marks = newest;
    const some = marks.size > 0, exact = some ? [ends(marks.thrust), ends(marks.minutes)] : [[0, 1], [0, 10]];
    crowded = marks.size > CROWDED;
    const stays = moving && size === room && holds(exact);
    if (!stays) spans = some ? exact.map(([low, high]) => pad(low, high, moving ? 0.15 : 0.05)) : exact;
    size = room;
    if (stays && crowded && before) follow();
    else place();
    drawn = [...front, ...rest.values()].filter((one) => !one.away).sort((a, b) => marks.minutes[b.i] - marks.minutes[a.i]);
    at = kept === null ? null : drawn.find((one) => marks.rows(one.i) === kept) ?? null;
    if (!at) cursor.remove();
    root.setAttribute("aria-label", `Map of ${marks.size} combinations in ${drawn.length} marks: flight time against thrust to weight. `
      + "Arrow keys move, Page Down and Page Up go from mark to mark, Enter picks.");
  }

  function around(w, t, ws, ts) {
    reach.remove();
    ring.remove();
    if (!x || !marks.size) return;
    const { wide, high, left, right, top, bottom } = size, within = (value, low, most) => Math.min(most, Math.max(low, value));
    const across = (value) => within(x(value), left, wide - right), along = (value) => within(y(value), top, high - bottom);
    if (w !== null && t !== null && [...ws, ...ts].length === 4 && finite([...ws, ...ts]).length === 4) {
      reach.setAttribute("d", `M${across(ws[0])},${along(t)}H${across(ws[1])}M${across(w)},${along(ts[0])}V${along(ts[1])}`);
      root.append(reach);
    }
    const [cx, cy] = w === null || t === null ? [-1, -1] : [x(w), y(t)];
    if (cx < left || cx > wide - right || cy < top || cy > high - bottom) return;
    ring.setAttribute("cx", cx);
    ring.setAttribute("cy", cy);
    root.append(ring);
  }

  function move(to) {
    at = to;
    cursor.setAttribute("cx", at.px);
    cursor.setAttribute("cy", at.py);
    root.append(cursor);
    tell(at.i, at.count);
  }
  const nearest = (far) => {
    let found = null, best = Infinity;
    for (const one of drawn) { const each = far(one); if (each !== null && each < best) { best = each; found = one; } }
    return found;
  };
  const picked = () => { const i = chosen(); return drawn.find((one) => one.i === i) ?? drawn[0]; };
  const WAYS = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const STEPS = { PageDown: (n) => n + 1, PageUp: (n) => n - 1, Home: () => 0, End: () => drawn.length - 1 };
  function towards(way) {
    return nearest((one) => {
      const dx = one.px - at.px, dy = one.py - at.py, along = dx * way[0] + dy * way[1];
      return along > 0.5 ? along + 2 * (Math.abs(dx * way[1]) + Math.abs(dy * way[0])) : null;
    });
  }
  root.addEventListener("keydown", (event) => {
    const way = WAYS[event.key], step = STEPS[event.key];
    if (!drawn.length) return;
    if (way || step) {
      event.preventDefault();
      at ??= picked();
      const to = way ? towards(way) : drawn[step(drawn.indexOf(at))];
      if (to) move(to);
    } else if ((event.key === "Enter" || event.key === " ") && at) {
      event.preventDefault();
      pick(at.i);
    }
  });
  const under = (event) => {
    const box = root.getBoundingClientRect(), scaled = size.wide / box.width;
    const [cx, cy] = [(event.clientX - box.left) * scaled, (event.clientY - box.top) * scaled];
    return nearest(({ px, py }) => { const far = Math.hypot(px - cx, py - cy); return far < 24 ? far : null; });
  };
  root.addEventListener("pointermove", (event) => { const to = under(event); if (to) tell(to.i, to.count); });
  root.addEventListener("click", (event) => { const to = under(event); if (to) { move(to); pick(to.i); } });
  return {
    root, key, update, ring: around, marks: () => drawn,
    show: (row) => { const to = drawn.find((one) => marks.rows(one.i) === row); if (to) move(to); },
  };
}
