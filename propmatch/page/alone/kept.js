// Briefs that this browser keeps, beside what is in the downloads; and the licences of what this page consists of.
import { useText } from "./brief.js";
import { complain } from "./faults.js";
import { button, panel, said, whileOpen } from "./panels.js";
import { $, make, on } from "./state.js";

const BEFORE = "propmatch brief ", list = make("ul"), note = said("");
const { body } = panel("brief-panels", "kept", "Briefs kept in this browser");
body.append(said("Each brief that is saved is kept here too, until this browser's data are cleared; the file in your downloads is the one to keep."), list, note);

// What the browser gives and takes, or null where it refuses.
function store(use) {
  try { return use(localStorage); } catch { note.textContent = "This browser keeps nothing for this page: the file in your downloads is the only copy."; return null; }
}

const names = () => store((all) => Object.keys(all).filter((key) => key.startsWith(BEFORE)).map((key) => key.slice(BEFORE.length)).sort()) ?? [];

function show() {
  list.replaceChildren(...names().map((name) => make("li", {}, button(name, () => open(name).catch(complain), { "aria-label": `open ${name}` }), " ",
    button("forget", () => { store((all) => all.removeItem(BEFORE + name)); show(); }, { "aria-label": `forget ${name}` }))));
  if (!list.childElementCount) list.append(make("li", {}, "none yet"));
}

async function open(name) {
  if (!(await useText(store((all) => all.getItem(BEFORE + name)) ?? ""))) return;
  $("file").value = name;
  $("saved").textContent = `The page now goes by ${name}, as this browser kept it.`;
}

on("saved", ({ file, text }) => {
  store((all) => all.setItem(BEFORE + file, text));
  show();
});
show();

const licences = panel("parts-panels", "licences", "What this page consists of");
const text = make("pre", { tabindex: "0", "aria-label": "Licences" });
licences.body.append(said("The engine and all that it runs on are inside this page; nothing leaves it. Every licence in full:"), text);
whileOpen(licences.whole, async () => {
  if (text.textContent) return;
  const inside = $("engine-licences.txt");
  text.textContent = inside
    ? await new Response(new Blob([Uint8Array.from(atob(inside.textContent.trim()), (sign) => sign.charCodeAt(0))]).stream().pipeThrough(new DecompressionStream("gzip"))).text()
    : await (await fetch("licences.txt")).text();
});
