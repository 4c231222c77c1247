// What is kept: the brief as a file, opened again.
import { ask } from "./asking.js";
import { useText } from "./brief.js";
import { Faulty, complain } from "./faults.js";
import { $, make, state, tellAll } from "./state.js";

async function save(replace) {
  try {
    const answer = await ask("save", { file: $("file").value, replace });
    if (answer.exists) {
      $("ask-words").textContent = `${answer.file} exists in ${state.folder}. Replacing it loses what it holds, its comments too.`;
      $("ask").showModal();
    } else {
      if (!answer.saved) { download(answer); tellAll("saved", answer); }
      $("saved").textContent = answer.saved ? `Saved as ${answer.file}.` : `${answer.file} is in your downloads.`;
    }
  } catch (error) {
    if (error instanceof Faulty) $("saved").textContent = `Not saved: ${error.faults.map((fault) => fault.text).join("; ")}`;
    else complain(error);
  }
}
$("saving").addEventListener("submit", (event) => { event.preventDefault(); save(false); });
$("ask-yes").addEventListener("click", () => { $("ask").close(); save(true); });
$("ask-no").addEventListener("click", () => { $("ask").close(); $("saved").textContent = "Not saved; the file is as it was."; });

// Give the reader a file of an answer.
export function download({ file, type, text }) {
  const link = make("a", { href: URL.createObjectURL(new Blob([text], { type })), download: file });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

const opening = make("input", { type: "file", id: "open", accept: ".toml" });
$("saving").after(make("p", {}, make("label", { for: "open" }, "Open a brief"), " ", opening));
opening.addEventListener("change", async () => {
  const [file] = opening.files;
  opening.value = "";
  if (file && await useText(await file.text())) {
    $("file").value = file.name;
    $("saved").textContent = `The page now goes by ${file.name}.`;
  }
});
