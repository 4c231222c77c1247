// Where everything sits: side and top view of the picked train.
import { channel } from "./asking.js";
import { $, on, state } from "./state.js";

export const askViews = channel("views", () => (state.train ? { train: state.train } : null), useViews, { rests: ["views", "views-words"] });

function useViews(answer) {
  const drawn = answer.svg ? [new DOMParser().parseFromString(answer.svg, "image/svg+xml").documentElement] : [];
  $("views").replaceChildren(...drawn);
  $("views-words").textContent = answer.words;
}

on("train", (answer) => {
  if (answer.moving || state.looked === state.looks) return;
  state.looked = state.looks;
  askViews();
});
