// What can be taken away as a file: pictures, numbers, the build sheet.
import { askLong } from "./asking.js";
import { told } from "./curves.js";
import { complain, say } from "./faults.js";
import { button, panel, said } from "./panels.js";
import { $, make, state } from "./state.js";

export function give(name, blob) {
  const link = make("a", { href: URL.createObjectURL(blob), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  say(`${name} is in your downloads`);
}

const LOOK = ["fill", "fill-opacity", "stroke", "stroke-width", "stroke-dasharray", "stroke-opacity", "paint-order", "font-size", "font-family", "font-weight", "text-anchor", "visibility"];

// A drawing of the page as a file of its own: what the style sheet says of each element is written into it.
function alone(root) {
  const copy = root.cloneNode(true), own = [root, ...root.querySelectorAll("*")], copied = [copy, ...copy.querySelectorAll("*")];
  own.forEach((element, at) => {
    const look = getComputedStyle(element);
    for (const name of LOOK) copied[at].style.setProperty(name, look.getPropertyValue(name));
  });
  const [, , wide, high] = root.getAttribute("viewBox").split(/\s+/);
  copy.setAttribute("xmlns", "http://www.w3.org/2000/svg");
  copy.setAttribute("width", wide);
  copy.setAttribute("height", high);
  copy.style.setProperty("background", getComputedStyle(document.body).backgroundColor);
  return new XMLSerializer().serializeToString(copy);
}

const PICTURES = { map: "Parts that fit", chart: "Thrust and what level flight needs", "compare-chart": "Side by side", views: "Where everything sits", throttle: "Thrust and current against throttle", flight: "The flight, minute by minute" };

const file = (name) => `${name.toLowerCase().replace(/[^a-z0-9]+/g, "-")}`;

async function pictures(name) {
  await told[name]?.();
  const roots = [...$(name).querySelectorAll("svg")].filter((each) => each.getAttribute("viewBox") && !each.closest(".key"));
  if (!roots.length) { say(`${PICTURES[name]}: nothing is drawn yet, open its panel first`); return; }
  roots.forEach((root, at) => give(`${file(PICTURES[name])}${roots.length > 1 ? `-${at + 1}` : ""}.svg`, new Blob([alone(root)], { type: "image/svg+xml" })));
}

const cell = (text) => (/[",\n]/.test(text) ? `"${String(text).replaceAll('"', '""')}"` : String(text ?? ""));
const rows = (some) => some.map((row) => row.map(cell).join(",")).join("\n") + "\n";

async function numbers(name) {
  const chart = await told[name]();
  if (!chart) { say("No train is picked yet"); return; }
  const lines = chart.panes.flatMap((each) => each.lines.map((one) => [`${one.name}, ${each.label}`, one.values]));
  give(`${name}.csv`, new Blob([rows([[chart.axis, ...lines.map(([head]) => head)], ...chart.x.map((x, at) => [x, ...lines.map(([, values]) => values[at])])])], { type: "text/csv" }));
}

// Give the file of an answer.
export async function asked(what, doing, more = {}) {
  const answer = await askLong(what, doing, more);
  if (!answer) return;
  const bytes = answer.base64 ? Uint8Array.from(atob(answer.base64), (sign) => sign.charCodeAt(0)) : answer.text;
  give(answer.file, new Blob([bytes], { type: answer.type }));
}

const { body } = panel("parts-panels", "downloads", "Take away");
const choice = make("select", { id: "picture" }, ...Object.entries(PICTURES).map(([name, title]) => make("option", { value: name }, title)));
body.append(
  make("p", {}, make("label", { for: "picture" }, "picture (SVG) "), choice, " ", button("Download the picture", () => pictures(choice.value).catch(complain), { id: "get-picture" })),
  make("p", {}, button("Shortlist (CSV)", () => asked("shortlist", "Making the shortlist").catch(complain), { id: "get-shortlist" }), " ",
    button("Throttle curve (CSV)", () => numbers("throttle").catch(complain), { id: "get-throttle" }), " ", button("Flight (CSV)", () => numbers("flight").catch(complain), { id: "get-flight" })),
  make("p", { id: "take-sheet" }));
