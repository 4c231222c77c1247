// The one way to the desk, in a worker of this page: a question as JSON, its answer as JSON. Nothing leaves the page.
import { $ } from "./state.js";

const { text, file, folder, parts, lock, env } = JSON.parse($("start").textContent);
const waiting = [], REST_MS = 700;
let worker = null, script = null, busy = null, places = {}, ready = false, gone = "", number = 0, asked = 0, pause = 0;

// What the engine answered when this page was made: what a page asks first, so that it shows at once.
const first = JSON.parse($("first").textContent);
const named = (what, { seq, ...sent }) => `${what} ${JSON.stringify(Object.fromEntries(Object.entries(sent).sort()))}`;

const [said, bar] = [$("engine").querySelector("span"), $("engine").querySelector("progress")];
const LACKS = ["WebAssembly", "Worker", "DecompressionStream"].filter((name) => !(name in globalThis));
const KEPT = "what stands on this page stays; the brief as text can be copied or saved";

function starting(doing, share) {
  $("engine").hidden = false;
  said.textContent = doing;
  if (share === undefined) bar.removeAttribute("value"); else bar.value = share;
}

// The engine cannot work: whoever waits is told, and so is the reader.
function broke(why) {
  gone = why;
  ready = false;
  worker?.terminate();
  $("engine").hidden = false;
  said.textContent = `The engine does not work here: ${why}. ${KEPT[0].toUpperCase()}${KEPT.slice(1)}.`;
  bar.remove();
  if (!$("text").value) { $("text").value = text; $("textual").open = true; }
  const jobs = [...(busy ? [busy] : []), ...waiting.splice(0)];
  busy = null;
  for (const job of jobs) job.reject(new Error(why));
}

function decoded(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const signs = atob(text), bytes = new Uint8Array(signs.length);
  for (let at = 0; at < signs.length; at += 1) bytes[at] = signs.charCodeAt(at);
  return bytes;
}

// A part of the engine: in this file, or beside it.
async function part(name) {
  const inside = $(`engine-${name}`);
  if (inside) return decoded(inside.textContent.trim());
  const reply = await fetch(name);
  if (!reply.ok) throw new Error(`${name} is not beside this page (${reply.status})`);
  return new Uint8Array(await reply.arrayBuffer());
}

async function begun() {
  starting("Reading the engine");
  const [wasm, cargo] = await Promise.all([part("engine.bin"), part("python.bin")]);
  if (!script) {
    const inside = $("engine-worker.js") && new Blob([decoded($("engine-worker.js").textContent.trim())]);
    script = inside ? URL.createObjectURL(await new Response(inside.stream().pipeThrough(new DecompressionStream("gzip"))).blob().then((blob) => blob.slice(0, blob.size, "text/javascript"))) : "worker.js";
  }
  worker = new Worker(script);
  worker.addEventListener("message", ({ data }) => heard(data));
  worker.addEventListener("error", (event) => { event.preventDefault(); broke(event.message || "its worker could not be started"); });
  worker.postMessage({ begin: { wasm, cargo, lock, env, parts } });
}

function start() {
  ready = false;
  begun().catch((error) => broke(`a part of it cannot be read (${error.message})`));
}

function heard({ starting: doing, share, broken, ready: now, id, answer, failed, fatal, doing: at }) {
  if (doing) starting(doing, share);
  else if (broken !== undefined) broke(broken);
  else if (now) {
    Object.assign(places, now);
    ready = true;
    $("engine").hidden = true;
    document.body.dataset.engine = String(Math.round(performance.now()));
    next();
  } else if (busy?.id === id && at !== undefined) busy.told?.({ doing: at, share });
  else if (busy?.id === id) {
    const job = busy;
    busy = null;
    if (places[job.what] === "here") asked = performance.now();
    if (failed !== undefined) job.reject(new Error(`the engine failed: ${failed}`)); else job.resolve(JSON.parse(answer));
    if (fatal) { worker.terminate(); start(); } else next();
  }
}

// What is answered at once goes before what takes its time; and while a number moves, that waits for a pause: nothing can
// be interrupted that the one worker has begun.
function next() {
  clearTimeout(pause);
  if (!ready || busy || !waiting.length) return;
  const quick = waiting.findIndex((job) => places[job.what] === "here"), rest = asked + REST_MS - performance.now();
  const at = quick >= 0 ? quick : waiting.findIndex((job) => !job.moving || rest <= 0);
  if (at < 0) { pause = setTimeout(next, rest); return; }
  [busy] = waiting.splice(at, 1);
  busy.id = number += 1;
  worker.postMessage({ id: busy.id, what: busy.what, sent: busy.sent });
}

// Nobody waits for it any more. What the reader stopped ends at once, with the worker, and a new one begins.
function giveUp(job, reason) {
  job.reject(reason);
  if (waiting.includes(job)) { waiting.splice(waiting.indexOf(job), 1); return; }
  if (busy !== job || reason !== "stopped") return;
  busy = null;
  worker.terminate();
  start();
}

// What a page begins with; the engine starts meanwhile.
export async function begin() {
  if (LACKS.length) broke(`this browser lacks ${LACKS.join(" and ")}`); else start();
  return { text, file, folder };
}

// An answer; with `told`, a function that hears now and then what is being done and which share of it is done.
export function transport(what, sent, { signal, told } = {}) {
  const known = ready ? undefined : first[named(what, sent)];
  if (known) return Promise.resolve({ ...known, seq: sent.seq });
  return new Promise((resolve, reject) => {
    if (gone) { reject(new Error(gone)); return; }
    const job = { what, sent: JSON.stringify(sent), moving: sent.moving === true, told, resolve, reject };
    if (places[what] === "here") asked = performance.now();
    signal?.addEventListener("abort", () => giveUp(job, signal.reason));
    waiting.push(job);
    queueMicrotask(next); // what else is asked now may go before it
  });
}
