// Drawings as SVG from plain numbers. A sheet keeps its elements between two drawings and writes only what changed.
const SPACE = "http://www.w3.org/2000/svg";

export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SPACE, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

// A drawing with layers, the first lowest. What was put since the last `done` stays; the rest goes.
export function sheet(attributes, ...layers) {
  const root = svg("svg", attributes), kept = new Map(), places = {};
  let round = 0;
  for (const name of layers) root.append(places[name] = svg("g"));
  const write = (one, attributes) => {
    for (const name in attributes) if (one.said[name] !== attributes[name]) one.element.setAttribute(name, one.said[name] = attributes[name]);
  };
  const whole = { element: root, said: {} };
  return {
    root,
    set: (attributes) => write(whole, attributes),
    put(layer, name, tag, attributes, text) {
      const key = `${layer} ${name}`;
      let one = kept.get(key);
      if (!one) {
        one = { element: svg(tag), said: {} };
        places[layer].append(one.element);
        kept.set(key, one);
      }
      write(one, attributes);
      if (text !== undefined && text !== one.text) one.element.textContent = one.text = text;
      one.round = round;
      return one.element;
    },
    done() {
      for (const [key, one] of kept) if (one.round !== round) { one.element.remove(); kept.delete(key); }
      round += 1;
    },
  };
}

export const finite = (values) => values.filter((value) => value !== null && Number.isFinite(value));
export const most = (values, other = 1) => finite(values).reduce((a, b) => (a > b ? a : b), -Infinity) || other;
export const least = (values) => finite(values).reduce((a, b) => (a < b ? a : b), Infinity);

export function ticks(low, high, about = 6) {
  const rough = (high - low) / about || 1;
  const unit = 10 ** Math.floor(Math.log10(rough));
  const step = unit * [1, 2, 5, 10].find((each) => each * unit >= rough);
  const found = [];
  for (let value = Math.ceil(low / step) * step; value <= high + step * 1e-9; value += step) found.push(Number(value.toPrecision(10)));
  return found;
}

// A drawing has the width of its place, so that letters keep their size on a phone, and margins that grow with the letters.
export function sized(place, share = 0.5) {
  const unit = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
  const wide = Math.round(Math.min(900, Math.max(260, place.clientWidth)));
  const high = Math.round(Math.min(400, Math.max(210, wide * share)) * Math.min(unit, 1.5));
  return { wide, high, unit, left: 46 * unit, right: 10, top: 8, bottom: 40 * unit };
}

// Axes; gives back scales from numbers to the drawing.
export function axes(sheet, size, [x0, x1], [y0, y1], xLabel, yLabel) {
  const { wide, high, unit, left, right, top, bottom } = size;
  const x = (value) => left + (value - x0) / (x1 - x0 || 1) * (wide - left - right);
  const y = (value) => high - bottom - (value - y0) / (y1 - y0 || 1) * (high - top - bottom);
  const put = (...what) => sheet.put("axes", ...what), foot = y(y0);
  sheet.set({ viewBox: `0 0 ${wide} ${high}` });
  ticks(x0, x1, Math.min(8, wide / unit / 75)).forEach((value, at) => {
    put(`x-line ${at}`, "path", { class: "grid", d: `M${x(value).toFixed(1)},${top}V${foot}` });
    put(`x-text ${at}`, "text", { x: x(value).toFixed(1), y: foot + 15 * unit, "text-anchor": "middle" }, String(value));
  });
  ticks(y0, y1, Math.min(6, high / unit / 45)).forEach((value, at) => {
    put(`y-line ${at}`, "path", { class: "grid", d: `M${left},${y(value).toFixed(1)}H${wide - right}` });
    put(`y-text ${at}`, "text", { x: left - 5, y: (y(value) + 4 * unit).toFixed(1), "text-anchor": "end" }, String(value));
  });
  put("axes", "path", { class: "axis", d: `M${left},${top}V${foot}H${wide - right}` });
  put("x-label", "text", { x: (left + wide - right) / 2, y: high - 6 * unit, "text-anchor": "middle" }, xLabel);
  put("y-label", "text", { transform: `translate(${11 * unit},${(top + foot) / 2}) rotate(-90)`, "text-anchor": "middle" }, yLabel);
  sheet.root.scales = { x, y, wide, top, foot };
  return { x, y };
}

export function line(points) {
  let d = "", pen = "M";
  for (const [x, y] of points) {
    if (x === null || y === null) { pen = "M"; continue; }
    d += `${pen}${x.toFixed(1)},${y.toFixed(1)}`;
    pen = "L";
  }
  return d;
}
