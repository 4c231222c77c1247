// Reading off curves: by pointing at a drawing, or by a slider under it that keyboards and screen readers know.
import { svg } from "./plot.js";
import { make } from "./state.js";

// `use` takes the drawing's root, which knows its scales, the places of its axis, and what to say at one of them.
export function reading(id, label) {
  const slider = make("input", { type: "range", id, min: 0, max: 0, step: 1, value: 0 }), output = make("output", { for: id });
  const row = make("p", { class: "read-off" }, make("label", { for: id }, label), " ", slider, " ", output);
  let roots = [], places = [], tell = () => "";

  function at(index) {
    const now = Math.max(0, Math.min(places.length - 1, index));
    slider.value = now;
    const text = places.length ? tell(now) : "";
    output.textContent = text;
    slider.setAttribute("aria-valuetext", text);
    for (const root of roots) {
      const { x, top, foot } = root.scales, line = root.querySelector(".read-at") ?? root.appendChild(svg("path", { class: "read-at" }));
      line.setAttribute("d", places.length ? `M${x(places[now]).toFixed(1)},${top}V${foot}` : "");
    }
  }

  function pointed(event) {
    const root = event.currentTarget, { x, wide } = root.scales, box = root.getBoundingClientRect();
    const here = (event.clientX - box.left) * wide / box.width;
    let nearest = 0;
    for (let each = 1; each < places.length; each += 1) if (Math.abs(x(places[each]) - here) < Math.abs(x(places[nearest]) - here)) nearest = each;
    at(nearest);
  }

  slider.addEventListener("input", () => at(Number(slider.value)));
  return { row, use(newRoots, newPlaces, newTell) {
    for (const root of newRoots) if (!roots.includes(root)) root.addEventListener("pointermove", pointed);
    const share = places.length > 1 ? Number(slider.value) / (places.length - 1) : 0.4;
    [roots, places, tell] = [newRoots, newPlaces, newTell];
    slider.max = Math.max(0, places.length - 1);
    at(Math.round(share * (places.length - 1)));
  } };
}

// The value between the points of a line, or null where there is none.
export function between(xs, values, x) {
  for (let at = 1; at < xs.length; at += 1) {
    if (x < xs[at - 1] || x > xs[at] || values[at - 1] === null || values[at] === null) continue;
    return values[at - 1] + (x - xs[at - 1]) / (xs[at] - xs[at - 1] || 1) * (values[at] - values[at - 1]);
  }
  return null;
}
