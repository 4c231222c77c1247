// Starts the page. Text from files only ever becomes text nodes.
import { begins, restore } from "./address.js";
import { atRest, everyStep } from "./asking.js";
import { askBrief, showDraft } from "./brief.js";
import { complain } from "./faults.js";
import "./hand.js";
import "./keep.js";
import "./log.js";
import { askMap, best, fitMap } from "./map.js";
import { askPins, showPins } from "./pins.js";
import { $, on, state, tellAll } from "./state.js";
import { askTrain, fitChart } from "./train.js";
import { begin } from "./transport.js";
import { askViews } from "./views.js";

everyStep(askMap, askTrain);
atRest(askBrief, askViews);

addEventListener("resize", () => { clearTimeout(state.sized); state.sized = setTimeout(() => { fitMap(); fitChart(); showPins(); }, 100); });

// Everything anew, for a state that came from the address.
on("restored", () => {
  askMap();
  askTrain();
  askBrief().then(askPins).then(askViews);
});

const { text, file, folder } = await begin();
Object.assign(state, { text, folder });
$("file").value = file;
begins();
if (await restore()) tellAll("restored");
else {
  await askBrief();
  await Promise.all([best().catch(complain), askMap()]);
}
showDraft();
