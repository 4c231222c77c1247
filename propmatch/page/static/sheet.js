// The build sheet, as a page or as a PDF.
import { asked } from "./downloads.js";
import { complain } from "./faults.js";
import { button, said } from "./panels.js";
import { $, state } from "./state.js";

const take = (form) => asked("sheet", "Making the build sheet", { train: state.train, form }).catch(complain);
$("sheet").addEventListener("click", () => take(null));
$("take-sheet").append(button("Build sheet (PDF)", () => take("pdf"), { id: "get-pdf" }), said("The build sheet as a page (HTML) is made by the button beside the name of the aircraft."));
