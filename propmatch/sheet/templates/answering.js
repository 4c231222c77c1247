"use strict";
// The sheet answers: states between those of the tables, the verdict by the engine's own words and thresholds.
const answers = (data) => {
  const SIGN = Object.fromEntries([...data.signs].map((sign, at) => [sign, at - data.signs.length / 2]));
  const SPREAD = Float64Array.from({length: data.draws}, (_, at) => (0.5 + at * 0.6180339887498949) % 1);
  const BARE = data.bare && Float64Array.from({length: data.draws}, (_, at) =>
    Math.exp(data.bare.step * (data.signs.length * SIGN[data.bare.draws[2 * at]] + SIGN[data.bare.draws[2 * at + 1]])));
  const [AIR, MASS, HEIGHT] = data.axes;

  // ---------------------------------------------------------------- tables

  function unpacked(table) {
    if (table === null || typeof table === "number") return table;
    const {shape, step, steps} = table, values = Float64Array.from(steps), size = values.length;
    for (let axis = 3, stride = 1; axis >= 0; stride *= shape[axis--])
      for (let order = data.orders[axis]; order--;)
        for (let at = 0; at < size; at++)
          if (Math.floor(at / stride) % shape[axis] > order) values[at] += values[at - stride];
    for (let at = 0; at < size; at++) values[at] *= step;
    for (const gap of table.gaps || []) values[gap] = NaN;
    return {shape, values};
  }

  function between(axis, x, most, from = 0) {   // [[index, weight], ...]: Lagrange through at most so many points
    const count = axis.length - from;
    const points = Math.min(most, count);
    let low = from;
    while (low + 2 < axis.length && axis[low + 1] <= x) low++;
    const first = Math.max(from, Math.min(low - (points >> 1) + 1, axis.length - points));
    const index = [...Array(points).keys()].map((at) => first + at);
    return index.map((i) => [i, index.reduce((w, j) => i === j ? w : w * (x - axis[j]) / (axis[i] - axis[j]), 1)])
      .filter(([, weight]) => weight !== 0);
  }

  const summed = (table, pack, weights) => {
    const [, T, M, H] = table.shape, [air, mass, height] = weights;
    let sum = 0;
    for (const [t, a] of air) for (const [m, b] of mass) for (const [h, c] of height)
      sum += a * b * c * table.values[((pack * T + t) * M + m) * H + h];
    return sum;
  };

  const read = (table, pack, state) => {
    if (table === null) return NaN;
    if (typeof table === "number") return table;
    const value = summed(table, pack, state.smooth);
    return Number.isNaN(value) ? summed(table, pack, state.straight) : value;   // beside states without an answer
  };

  function stateAt(air, mass, height) {          // air null: none stated
    const from = AIR[0] === null ? 1 : 0;
    const days = air === null ? [[0, 1]] : between(AIR, air, 2, from);
    const along = (most) => [days, between(MASS, mass, most), between(HEIGHT, height, most)];
    const place = (axis, x) => x === null ? null : axis.length < 2 ? [[0, 1]] : between(axis, x, 2);
    const [coarseMass, coarseHeight, coarseAir] = data.coarse;
    return {
      smooth: along(4), straight: along(2),
      spread: [place(coarseMass, mass), place(coarseHeight, height), place(coarseAir, air)],
      cells: data.cells_c !== null ? data.cells_c : air === null ? data.usual_c : air,
      mass,
    };
  }

  // ---------------------------------------------------------------- checks and verdict

  const marginOf = (value, limit, least) =>
    value === limit ? 0 : (least ? value - limit : limit - value) / Math.abs(limit);
  const word = (rows, count) => rows.reduce((text, [least, said]) => count >= least ? said : text, "");
  const want = (chance) => String(+chance.toPrecision(6));
  const hundred = (count, asked = 0) => word(data.verdict.of_hundred[want(asked)], count);
  const named = (count, asked) => word(data.verdict.word[want(asked)], count);
  const said = (text, ...parts) => text.replace(/\{\}/g, () => parts.shift());
  const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
  const whole = [hundred(Math.round(data.asked[0] * data.draws)), hundred(Math.round(data.asked[1] * data.draws))];

  const trains = data.trains.map(({rows}) => {
    const kept = [];
    return rows.map((row) => {
      const made = {...row, value: unpacked(row.value)}, check = row.check;
      if (check) made.check = {...check, limit: unpacked(check.limit)};
      if (check && check.draws) {
        const steps = Int16Array.from(check.draws, (sign) => SIGN[sign]);
        if (check.base !== undefined) steps.forEach((_, at) => { steps[at] += kept[check.base][at]; });
        if (check.joint) kept.push(steps);
        made.check.margins = Float64Array.from(steps, (step, at) => (step + check.middle + SPREAD[at]) * check.step);
      }
      return made;
    });
  });
  const massAlone = (row, pack, mass) =>         // a distance, by the bare mass alone: straight between its bends
    Math.max(0, summed(row.value, pack, [[[0, 1]], between(data.reached, mass, 2), [[0, 1]]]));
  const valueOf = (row, pack, state) =>
    row.check && row.check.by_mass ? massAlone(row, pack, state.mass) : read(row.value, pack, state);
  const interval = (values) => {                 // of draws: as much beyond it on both sides
    const sorted = values.slice().sort();
    if (!(sorted[0] < sorted[sorted.length - 1])) return [NaN, NaN];
    return [data.tail, 1 - data.tail].map((share) => {
      const place = share * (sorted.length - 1), at = Math.floor(place);
      return sorted[at] + (place - at) * (sorted[Math.ceil(place)] - sorted[at]);
    });
  };
  const OWN = stateAt(...data.own);
  for (const rows of trains)
    for (const row of rows) {
      row.own = valueOf(row, 0, OWN);
      if (row.check) row.check.own = marginOf(row.own, read(row.check.limit, 0, OWN), row.check.least);
    }

  function judged(train, pack, state) {
    const bad = [new Uint8Array(data.draws), new Uint8Array(data.draws)];
    const found = trains[train].map((row) => {
      const value = valueOf(row, pack, state), by = row.check && row.check.by_mass;
      const wide = row.spread ? row.spread.slice(1).reduce(
        (product, along, axis) => product * (state.spread[axis] || []).reduce((sum, [at, w]) => sum + w * (along[at] - 1), 1),
        row.spread[0][pack]) : 1;
      const drawnValues = by && BARE.map((factor) => massAlone(row, pack, state.mass * factor)), check = row.check;
      const ends = by ? interval(drawnValues)
        : row.ends.map((end) => end === null ? NaN : value + (end - row.own) * wide);
      if (!check || check.below_c !== undefined && !(state.cells < check.below_c)) return {row, value, ends};
      const limit = read(check.limit, pack, state);
      const margin = marginOf(value, limit, check.least), fails = !(margin >= 0);
      let count = fails ? 0 : data.draws;
      if (check.margins || by) {
        const drawn = by ? (at) => marginOf(drawnValues[at], limit, check.least)
          : (at) => margin + (check.margins[at] - check.own) * wide;
        count = 0;
        for (let at = 0; at < data.draws; at++) {
          const holds = drawn(at) >= 0;
          if (holds) count++; else if (check.joint) bad[check.asked][at] = 1;
        }
      } else if (fails && check.joint) bad[check.asked].fill(1);
      const varies = Boolean(check.margins) || ends.some(Number.isFinite);
      const asked = Math.ceil(data.asked[check.asked] * data.draws - 1e-9);
      const verdict = fails ? "fails" : !varies || count >= asked ? "ok" : "close";
      return {row, value, ends, margin, fails, count, varies, short: check.joint && count < asked, verdict};
    });
    const share = (...which) => bad[0].reduce((sum, _, at) => sum + !which.some((kind) => bad[kind][at]), 0);
    return {found, wishes: share(0), ratings: share(1), all: share(0, 1)};
  }

  const checksOf = (found) => found.filter((each) => each.verdict).sort((a, b) => a.row.check.place - b.row.check.place);

  function verdict({found, wishes, ratings, all}) {
    const says = data.verdict.says, checks = checksOf(found);
    const first = (list) => list.sort((a, b) => Boolean(b.row.check.danger) - Boolean(a.row.check.danger));
    const hard = first(checks.filter((each) => each.fails && each.row.check.excluding)).map((e) => e.row.check.name);
    const danger = checks.filter((each) => each.fails && each.row.check.danger && !each.row.check.excluding)
      .map((each) => said(data.words.danger, `${each.row.check.name} ${shown(each)} (${each.row.check.bound})`));
    const holds = wishes >= data.asked[0] * data.draws && ratings >= data.asked[1] * data.draws;
    const together = said(says.together, hundred(all)), short = checks.filter((each) => each.short);
    let text = said(says.misses, hard.join(", "), together);
    if (!hard.length) {
      let last = "";
      const doubts = short.sort((a, b) => a.count - b.count).map((each, at) => {
        const asked = data.asked[each.row.check.asked], called = named(each.count, asked), name = each.row.check.name;
        const head = called === last ? name : `${called} ${name}`;
        last = called;
        return said(at ? says.next : says.first, head, hundred(each.count, asked), whole[each.row.check.asked]);
      });
      const called = named(all, holds ? 0 : 1);
      const sure = said(says.all, called.includes("miss") ? said(says.limit, called) : called, together);
      text = `${capital(doubts.length ? said(says.beside, doubts.join("; "), together) : sure)}.`;
    }
    const asked = said(says.asked, hundred(wishes, data.asked[0]), whole[0], hundred(ratings, data.asked[1]), whole[1]);
    return {text: [...danger, text].join(" "), asked};
  }

  // ---------------------------------------------------------------- text

  const digits = (steps, size) => steps.reduce((found, [least, many]) => Math.abs(size) >= least ? many : found, steps[0][1]);
  const fixed = (value, many) => Number.isFinite(value) ? value.toFixed(many).replace(/^-(0(\.0*)?)$/, "$1") : "-";
  const range = (ends, per) => {
    const largest = Math.max(...ends.filter(Number.isFinite).map((end) => Math.abs(end / per)));
    return ends.map((end) => Number.isFinite(end) ? fixed(end / per, digits(data.range, largest)) : data.words.missing)
      .join(data.words.to);
  };
  const within = ({value, ends}, per) =>
    Number.isFinite(value) && ends[0] !== ends[1] && ends.some(Number.isFinite) ? ` (${range(ends, per)})` : "";
  const plain = (value, [per, unit, steps]) => `${fixed(value / per, digits(steps, value / per))} ${unit}`.trim();
  const minutes = ({value, ends}) => {
    if (!Number.isFinite(value)) return data.words.no_flight;
    if (!(Math.max(value, ends[1]) >= data.short_minutes) && value < data.short_minutes) return data.words.short;
    const held = ends.some(Number.isFinite) ? ` (${ends.map((end) => fixed(end, 0)).join(data.words.to)})` : "";
    return `${fixed(value, 0)}${held} min`;
  };
  const numberText = (each) => {
    const form = each.row.number[1];
    return form[1] === "min" ? minutes(each) : plain(each.value, form) + within(each, form[0]);
  };
  const shown = (each) => Number.isFinite(each.value)
    ? plain(each.value, each.row.check.form) + within(each, each.row.check.form[0]) : data.words.missing;

  return {stateAt, judged, checksOf, verdict, numberText, shown, hundred, said, own: data.own, axes: data.axes};
};

if (typeof document !== "undefined") {
  const data = JSON.parse(document.getElementById("answering-data").textContent), its = answers(data);
  const section = document.getElementById("answering"), one = (selector, of = section) => of.querySelector(selector);
  const panels = [...section.querySelectorAll("[data-train]")], outside = one("[role=status]"), chosen = one(".chosen");
  const unstated = one("[name=unstated]"), form = one("form");
  const controls = ["mass", "height", "air"].map((name, at) => {
    const slider = one(`[name=${name}]`), box = one(`[name=${name}-box]`);
    return {slider, box, per: data.per[at], own: box.value, low: +slider.min, high: +slider.max,
            label: slider.dataset.label, unit: slider.dataset.unit};
  });
  const names = [1, 2, 0];                      // where mass, height and air stand in a state: air, mass, height

  const cell = (row, text, head) => {
    const made = document.createElement(head ? "th" : "td");
    if (head) made.scope = "row";
    made.textContent = text;
    row.append(made);
  };
  const fill = (body, rows) => body.replaceChildren(...rows.map(([kind, ...texts]) => {
    const row = document.createElement("tr");
    if (kind) row.className = kind;
    texts.forEach((text, at) => cell(row, text, at === 0));
    return row;
  }));
  const put = (node, text) => { if (node.textContent !== text) node.textContent = text; };

  function answer() {
    const wrong = controls.filter((each) => !(each.box.disabled)
      && !(each.box.value !== "" && +each.box.value >= each.low && +each.box.value <= each.high));
    for (const each of controls) {
      each.box.toggleAttribute("aria-invalid", wrong.includes(each));
      each.slider.setAttribute("aria-valuetext", `${each.box.value} ${each.unit}`);
    }
    put(outside, wrong.map((each) => its.said(data.words.outside, each.label, each.low, each.high, each.unit)).join(" "));
    const values = [null, null, null];
    controls.forEach((each, at) => {
      values[names[at]] = each.box.disabled ? null : each.box.value === each.own ? data.own[names[at]] ?? +each.box.value
        : +each.box.value * each.per;
    });
    const state = wrong.length ? null : its.stateAt(...values);
    for (const panel of panels) {
      const pack = one("select", panel).selectedIndex;
      const found = state && its.judged(+panel.dataset.train, pack, state), told = found && its.verdict(found);
      put(one("output", panel), told ? told.text : "");
      put(one(".asked", panel), told ? told.asked : "");
      fill(one(".numbers tbody", panel), (found ? found.found : []).filter((each) => each.row.number)
        .map((each) => ["", each.row.number[0], its.numberText(each)]));
      fill(one(".limits tbody", panel), its.checksOf(found ? found.found : [])
        .map((each) => [each.verdict, each.row.check.name, its.shown(each), each.row.check.bound,
                        each.varies ? its.hundred(each.count, data.asked[each.row.check.asked]) : "-", each.verdict]));
    }
    const moved = controls.some((each) => each.box.disabled ? false : each.box.value !== each.own)
      || panels.some((panel) => one("select", panel).selectedIndex > 0) || (unstated && !unstated.checked);
    section.classList.toggle("moved", Boolean(moved));
    const stands = (each) => each.box.disabled ? unstated.dataset.said : `${each.box.value} ${each.unit}`;
    const whole = [...controls.map((each) => `${each.label} ${stands(each)}`),
                   ...panels.map((panel) => one("select", panel).selectedOptions[0].text)];
    put(chosen, its.said(data.words.chosen, whole.join("; ")));
  }

  for (const each of controls) {
    each.slider.addEventListener("input", () => { each.box.value = each.slider.value; answer(); });
    each.box.addEventListener("input", () => { each.slider.value = each.box.value; answer(); });
  }
  if (unstated) unstated.addEventListener("change", () => {
    controls[2].slider.disabled = controls[2].box.disabled = unstated.checked;
    answer();
  });
  for (const panel of panels) one("select", panel).addEventListener("change", answer);
  form.addEventListener("reset", () => setTimeout(() => {
    for (const panel of panels) one("select", panel).selectedIndex = 0;
    if (unstated) controls[2].slider.disabled = controls[2].box.disabled = unstated.checked;
    answer();
  }));
  form.addEventListener("submit", (event) => event.preventDefault());
  section.hidden = false;
  form.reset();
  answer();
}
