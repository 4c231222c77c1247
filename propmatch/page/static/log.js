// A log of the bench, dropped on the page.
import { ask, refresh } from "./asking.js";
import { Faulty, complain, say } from "./faults.js";
import { $, make, on, state } from "./state.js";
import { dropped, forgetBad } from "./tables.js";
import { pick } from "./train.js";

// The log whose fit is on the page.
let drawn = null;

// Gives back false where `only` a log that can be read is wanted, and this is none.
export async function fitLog(file, only = false) {
  const before = state.log?.before ?? state.train;
  return useLog({ name: file.name, text: await file.text(), motor: before?.split(" + ")[0], before }, only);
}

async function useLog(log, only = false) {
  const known = log === state.log;
  say("Fitting the log");
  let answer;
  try { answer = await ask("fit", { log, train: state.train }); }
  catch (error) {
    if (!(error instanceof Faulty)) { complain(error); return true; }
    if (only) { say(""); return false; }
    answer = { words: ["Nothing can be fitted."], open: [], wrong: error.faults.map((fault) => fault.text), svg: "", motor: null };
  }
  say("");
  $("fit-words").textContent = answer.words.join(" ");
  $("fit-wrong").replaceChildren(...[...answer.wrong, ...answer.open].map((text) => make("li", {}, text)));
  $("fit").replaceChildren(...(answer.svg ? [new DOMParser().parseFromString(answer.svg, "image/svg+xml").documentElement] : []));
  if (answer.motor) {
    state.log = log;
    drawn = log;
    $("fit-used").textContent = `The page now knows this motor as ${answer.motor}${answer.train ? ", and flies your choice with it" : ""}. The address of this page holds the log; keep the file as well.`;
    if (answer.train && !known) await pick(answer.train);
    if (!known) refresh();
  } else { await leaveLog(); $("fit-used").textContent = "Too little for a motor: nothing changes."; }
  $("log-leave").hidden = !state.log;
  document.body.dataset.fitted = log.name;
  return true;
}

async function leaveLog() {
  if (!state.log) return;
  const { before } = state.log;
  state.log = null;
  $("log-leave").hidden = true;
  if (before) await pick(before);
  refresh();
}

$("log").addEventListener("change", () => { if ($("log").files.length) fitLog($("log").files[0]); });
function wipe() {
  drawn = null;
  for (const place of ["fit", "fit-wrong"]) $(place).replaceChildren();
  for (const place of ["fit-words", "fit-used"]) $(place).textContent = "";
  $("log").value = "";
  $("log-leave").hidden = true;
}
$("log-leave").addEventListener("click", () => { wipe(); leaveLog(); });
on("restored", () => {
  if (JSON.stringify(state.log) === JSON.stringify(drawn)) return;
  if (state.log) useLog(state.log).catch(complain); else wipe();
});
addEventListener("dragover", (event) => event.preventDefault());
addEventListener("drop", async (event) => {
  event.preventDefault();
  const [file] = event.dataTransfer.files;
  if (!state.log) wipe();
  forgetBad();
  try { if (file && !(await fitLog(file, true)) && !(await dropped(file.name, await file.text()))) await fitLog(file); } catch (error) { complain(error); }
});
