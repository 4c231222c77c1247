// Long work: what is being done, for how long, how much of it; and a button that stops it.
import { $, make } from "./state.js";

const WAIT_MS = 500, list = make("ul", { id: "work", "aria-label": "Under way" });
$("status").after(list);

// Runs something with a signal that stops it and a function that hears how far it is; shown once it takes a while.
export async function atWork(words, run) {
  const stopping = new AbortController(), begun = performance.now();
  let now = { doing: words, share: null }, line = null, said, bar;

  function show() {
    if (!line) {
      const stop = make("button", { type: "button" }, "Stop");
      stop.addEventListener("click", () => stopping.abort("stopped"));
      [said, bar] = [make("span"), make("progress", { "aria-label": words })];
      list.append(line = make("li", {}, said, " ", bar, " ", stop));
    }
    said.textContent = `${now.doing}, ${((performance.now() - begun) / 1000).toFixed(0)} s`;
    if (now.share === null) bar.removeAttribute("value"); else bar.value = now.share;
  }

  const clock = setInterval(show, WAIT_MS);
  try {
    return await run(stopping, (told) => { now = told; });
  } catch (error) {
    throw stopping.signal.aborted ? stopping.signal.reason : error;
  } finally {
    clearInterval(clock);
    line?.remove();
  }
}
