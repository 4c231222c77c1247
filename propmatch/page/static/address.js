// The state of the page in its address: a link or a reload gives it again, and to go back is to undo.
import { $, make, state, tellAll } from "./state.js";

const REST_MS = 300, LONGEST = 60_000;
const kept = new Map(["text", "changes", "variant", "train", "log"].map((name) => [name, { get: () => state[name], set: (value) => { state[name] = value; } }]));
let first = null, place = 0, last = 0, written = "", gestures = 0, latest = "start", pending = null, timer = 0;

// A part of the page whose state belongs in the address: how to get it, as JSON, and how to set it (undefined: nothing).
export function inAddress(name, get, set) { kept.set(name, { get, set }); }

// A gesture of its own.
export const gesture = () => `gesture ${++gestures}`;

// The state changed. A new gesture of the reader makes a new step to undo; the same one, or none, belongs to the last.
export function remember(by = null) {
  if (by) pending = by;
  undo.disabled &&= !pending;
  clearTimeout(timer);
  timer = setTimeout(write, REST_MS);
}

const through = async (bytes, way) => new Uint8Array(await new Response(new Blob([bytes]).stream().pipeThrough(way)).arrayBuffer());

async function pack(plain) {
  const bytes = await through(new TextEncoder().encode(JSON.stringify(plain)), new CompressionStream("deflate-raw"));
  return btoa(Array.from(bytes, (each) => String.fromCharCode(each)).join("")).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

async function unpack(packed) {
  const bytes = Uint8Array.from(atob(packed.replaceAll("-", "+").replaceAll("_", "/")), (each) => each.charCodeAt(0));
  return JSON.parse(new TextDecoder().decode(await through(bytes, new DecompressionStream("deflate-raw"))));
}

async function write() {
  if (state.moving) { remember(); return; }
  const plain = Object.fromEntries([...kept].map(([name, { get }]) => [name, get()]));
  let packed = await pack(plain);
  if (packed.length > LONGEST) packed = await pack({ ...plain, log: null, tables: [] });
  const by = pending;
  pending = null;
  if (packed === written) return;
  const more = by && by !== latest && written;
  written = packed;
  if (more) { place += 1; last = place; latest = by; }
  history[more ? "pushState" : "replaceState"]({ place }, "", `#${packed}`);
  showSteps();
}

const sound = (plain) => plain && typeof plain === "object" && typeof plain.text === "string" && plain.changes?.constructor === Object
  && [plain.variant, plain.train].every((each) => each === null || typeof each === "string") && typeof plain.log === "object";

// Take the state out of the address; whether there was one.
export async function restore() {
  clearTimeout(timer);
  pending = null;
  const packed = location.hash.slice(1);
  let plain = packed ? null : first;
  if (packed) {
    try { plain = packed.length < 2 * LONGEST && await unpack(packed); } catch { plain = null; }
    if (!sound(plain)) { $("status").textContent = "The address holds no state of this page"; return false; }
  }
  if (!plain) return false;
  written = packed;
  latest = "restored";
  place = history.state?.place ?? (last ? ++last : 0);
  last = Math.max(last, place, Number(held("steps")) || 0);
  for (const [name, { set }] of kept) set(plain[name]);
  state.version += 1;
  state.moving = false;
  showSteps();
  return true;
}

// What the page is before anything was done.
export function begins() { first = Object.fromEntries([...kept].map(([name, { get }]) => [name, structuredClone(get())])); }

// What a tab keeps beside its address, where the browser lets it.
export function held(name) { try { return sessionStorage.getItem(name); } catch { return null; } }
export function hold(name, text) {
  try { if (text === null) sessionStorage.removeItem(name); else sessionStorage.setItem(name, text); } catch { /* the tab forgets */ }
}

const undo = make("button", { type: "button", id: "undo", "aria-keyshortcuts": "Control+Z" }, "Undo");
const redo = make("button", { type: "button", id: "redo", "aria-keyshortcuts": "Control+Shift+Z Control+Y" }, "Redo");
$("status").after(make("p", { class: "tools" }, undo, " ", redo));
undo.addEventListener("click", back);
redo.addEventListener("click", forth);

// What was just done may not be written yet.
async function back() {
  if (pending) { clearTimeout(timer); await write(); }
  if (place > 0) history.back();
}

function forth() { if (place < last) history.forward(); }

function showSteps() {
  undo.disabled = place === 0 && !pending;
  redo.disabled = place >= last;
  hold("steps", String(last));
}
showSteps();

addEventListener("popstate", async () => {
  if (await restore()) { tellAll("restored"); return; }
  written = "";
  remember();
});
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey || event.target.closest?.("textarea, input:not([type=range])")) return;
  const key = event.key.toLowerCase(), forward = key === "y" || (key === "z" && event.shiftKey);
  if (key !== "z" && !forward) return;
  event.preventDefault();
  (forward ? forth : back)();
});
