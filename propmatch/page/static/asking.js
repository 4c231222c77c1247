// Who asks when, and what becomes of the answers.
import { gesture, remember } from "./address.js";
import { Dropped, Faulty, complain, say, settled } from "./faults.js";
import { $, state } from "./state.js";
import { transport } from "./transport.js";
import { atWork } from "./work.js";

let seq = 0;

export async function ask(what, more = {}, how = {}) {
  const { text, changes, variant, log, tables } = state;
  const body = await transport(what, { text, changes, variant, log, tables, seq: ++seq, ...more }, how);
  if (body.faults) throw new Faulty(body.faults);
  if (body.dropped) throw new Dropped();
  return body;
}

// A long question, shown while it lasts; undefined where the reader stopped it.
export async function askLong(what, words, more = {}) {
  try {
    return await atWork(words, (stopping, told) => ask(what, more, { signal: stopping.signal, told }));
  } catch (error) {
    if (error !== "stopped") throw error;
    say("Stopped");
    return undefined;
  }
}

// What is drawn for an older state than the page's is dim until its answer comes.
function dim(ids, late) {
  for (const id of ids) {
    const place = $(id);
    if (!place || place.classList.contains("stale") === late) continue;
    place.classList.toggle("stale", late);
  }
}

// One question of a kind is under way at a time; the newest waits for it, and what is late is dropped. `shows` are the
// elements that it draws, `rests` those that only an answer of a page at rest draws. With `words` it may take its time:
// it is shown at work and can be stopped, and one that took longer than `patience`, in ms, is given up for the newest,
// though never two in a row: something is drawn meanwhile.
export function channel(what, more, use, { shows = [], rests = [], words = "", patience = Infinity } = {}) {
  const kept = { busy: false, again: false, since: 0, gone: null, spared: false };
  const once = (asked) => (words ? atWork(words, (gone, told) => { kept.gone = gone; return ask(what, asked, { signal: gone.signal, told }); }) : ask(what, asked));
  const late = () => { dim(shows, true); dim(rests, true); };

  async function turn() {
    const { version, edits, moving } = state, asked = more();
    if (asked === null) { dim(shows, false); dim(rests, false); settled(what); return; }
    try {
      const answer = { ...(await once(asked)), edits, moving };
      kept.spared = false;
      if (version !== state.version) { kept.again = true; return; }
      settled(what);
      await use(answer);
      if (edits !== state.edits || kept.again) return;
      dim(shows, false);
      if (!moving) dim(rests, false);
    } catch (error) {
      if (error === "stopped") { kept.again = false; say("Stopped: what is dim is of before"); return; }
      kept.spared = error === "newer";
      if (version === state.version && !kept.spared) complain(error, what);
    }
  }

  async function go() {
    late();
    kept.again = kept.busy;
    if (kept.busy && !kept.spared && performance.now() - kept.since > patience) kept.gone?.abort("newer");
    if (kept.busy) return;
    kept.busy = true;
    do {
      Object.assign(kept, { again: false, since: performance.now() });
      await turn();
    } while (kept.again);
    kept.busy = false;
  }
  return Object.assign(go, { late });
}

const steps = [], waiting = [];

// What follows every step of a number, and what waits until nothing has moved for a moment.
export function everyStep(...askers) { steps.push(...askers); }
export function atRest(...askers) { waiting.push(...askers); }

// Something of the brief changed, by a gesture of the reader: see `remember`.
export function refresh(by = gesture()) {
  state.edits += 1;
  settled("once");
  remember(by);
  clearTimeout(state.later);
  for (const asker of waiting) asker.late?.();
  for (const asker of steps) asker();
  if (!state.moving) state.later = setTimeout(async () => { for (const asker of waiting) await asker(); }, 150);
}
