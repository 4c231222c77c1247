// Room to a limit as a bar: room lies right of the limit, flat; beyond it lies left, high, with a point.
import { finite, sheet, svg } from "./plot.js";

const LOW = -0.6, LIMIT = 100 * LOW / (LOW - 1);
const KINDS = { brief: "brief", "part rating": "rating", "estimated rating": "estimated", assumed: "assumed", "common practice": "practice" };
const place = (share) => Math.min(1, Math.max(LOW, share));
const percent = (share) => `${(LIMIT + (100 - LIMIT) * share).toFixed(2)}%`;

function words({ value, margin }) {
  if (value === null) return "no answer";
  if (margin === null) return "beyond it";
  return `${Math.round(100 * Math.abs(margin))} % of the limit ${margin < 0 ? "beyond it" : "left"}`;
}

export function createBar() {
  const { root, set, put, done } = sheet({ class: "bar", role: "img" }, "bar", "limit");
  put("bar", "forbidden", "rect", { class: "forbidden", x: 0, width: `${LIMIT}%`, y: 0, height: 16 });
  const upright = (name, kind, share, top, bottom) =>
    put("limit", name, "line", { class: kind, x1: percent(share), x2: percent(share), y1: top, y2: bottom });

  function update(check) {
    const kind = KINDS[check.limit_source] ?? "brief", share = place(check.margin ?? LOW), beyond = share < 0;
    set({ "aria-label": words(check) });
    put("bar", "forbidden", "rect", {});
    put("bar", "bar", "rect", { class: kind, x: percent(Math.min(0, share)), width: `${((100 - LIMIT) * Math.abs(share)).toFixed(2)}%`,
      y: beyond ? 2 : 4.5, height: beyond ? 12 : 7 });
    if (beyond) {
      const point = put("bar", "point", "svg", { x: percent(share), y: 8, overflow: "visible" });
      if (!point.firstChild) point.append(svg("path", { class: "point", d: "M-1,0L8,-8V8Z" }));
    }
    upright("limit", `limit ${kind}-limit`, 0, 0, 16);
    const ends = finite(check.margins ?? []).map(place);
    if (ends.length === 2) {
      ends.forEach((end, at) => upright(`end ${at}`, "whisker", end, 4, 12));
      put("limit", "whisker", "line", { class: "whisker", x1: percent(ends[0]), x2: percent(ends[1]), y1: 8, y2: 8 });
    }
    done();
  }
  return { root, update };
}
