// The one way to the desk: a question as JSON, its answer as JSON. Nothing else knows who answers.
import { $ } from "./state.js";

const PAGE = crypto.randomUUID(), LOOK_MS = 500;
const GONE = "the program that serves the page has ended; the address keeps what was done";

async function post(what, sent, signal) {
  const reply = await fetch(what, {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ ...sent, page: PAGE }), signal,
  }).catch((error) => {
    throw error instanceof TypeError ? new Error(GONE) : error;
  });
  if (reply.status === 503) throw new Error(GONE);
  if (reply.status === 403) throw new Error("the server does not know this page");
  if (reply.status >= 500) throw new Error("the server failed; what it says stands where it was started");
  return reply.json();
}

// What a page begins with; the server has the guide.
export async function begin() {
  const start = await (await fetch("start")).json();
  $("guide").hidden = !start.guide;
  return start;
}

// An answer; with `told`, a function that hears now and then what is being done and which share of it is done.
export async function transport(what, sent, { signal, told } = {}) {
  const looking = told && setInterval(async () => {
    try {
      const doing = (await post("progress", {}, signal))[what];
      if (doing) told(doing);
    } catch { /* the answer itself will say what is wrong */ }
  }, LOOK_MS);
  try { return await post(what, sent, signal); } finally { clearInterval(looking); }
}
