// A number that says, when it is chosen, how it is made.
import { ask } from "./asking.js";
import { complain } from "./faults.js";
import { $, make, state } from "./state.js";

// Of the picked train as it stands when it is chosen, or of a pin.
export function number(name, text = "", of = null) {
  const button = make("button", { type: "button", class: "number", "data-name": name }, text);
  button.addEventListener("click", () => explain(of ?? { train: state.last.id }, name));
  return button;
}

async function explain(of, name) {
  try {
    const told = await ask("explain", { ...of, name });
    $("explain-title").textContent = told.title;
    const rows = told.inputs.map((each) => make("tr", {},
      make("th", { scope: "row" }, [each.label, each.symbol].filter(Boolean).join(", ")),
      make("td", {}, each.text), make("td", {}, each.source)));
    const heads = ["What goes in", "Value", "Source"].map((text) => make("th", { scope: "col" }, text));
    $("explained").replaceChildren(
      make("p", { class: "formula" }, [told.formula, told.arithmetic].filter(Boolean).join(" = ")),
      make("p", {}, told.state ? `Taken at: ${told.state}.` : ""),
      make("table", {}, make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows)),
      make("p", {}, told.sure), make("p", {}, told.note), make("p", {}, told.limit ? `Limit: ${told.limit}.` : "No limit is asked."),
      make("details", {}, make("summary", {}, "Assumptions"), make("ul", {}, ...told.assumptions.map((text) => make("li", {}, text)))));
    $("explain").showModal();
    $("explain-title").focus();
  } catch (error) { complain(error); }
}
$("explain-close").addEventListener("click", () => $("explain").close());
