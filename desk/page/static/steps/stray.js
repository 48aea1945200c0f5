// A stray piece of contour: found by a tap or by going along the edge, pulled out of the fit, put back.

import { contourOf } from "../contours.js";
import { commit, state } from "../job.js";
import { h, keyed, mark, say } from "../parts/dom.js";
import { few } from "../parts/fields.js";
import { length } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";

const STEP_PX = 60; // along the edge, for each press
const REACHES = ["2", "4", "8", "16"]; // mm round the place
const NEAR_PX = 40; // CSS pixels that a tap may miss the edge by

/**
 * `photo()` is the one looked at; `moved(px, radius)` shows the place chosen; `look(px)` goes there.
 */
export function stray({ photo, moved, look }) {
  let chosen = null; // { curve, at: number of the point }
  let within = "4";
  const where = h("p.where");
  const reach = few({
    label: "Reaching",
    options: REACHES.map((mm) => [mm, `${mm} mm`]),
    take: (mm) => {
      within = mm;
      show();
    },
  });
  const button = (signName, text, act) => h("button", { type: "button", onclick: act }, sign(signName), text);
  const worst = button("usable", "Worst place", () => choose(furthest()));
  const back = button("left", "Along", () => go(-1));
  const on = button("right", "Along", () => go(1));
  const pull = button("away", "Leave it out", leaveOut);
  const chooser = h("div.stack", {}, where, h("div.row", {}, worst, back, on), reach.el, h("div.row", {}, pull));
  const list = h("ul.stack");
  const items = keyed(
    list,
    ({ entry }) => JSON.stringify(entry),
    () => {
      const words = h("span");
      const again = h("button", { type: "button" }, "Put it back");
      let index = 0;
      again.addEventListener("click", () => commit("piece put back", [[["leave_out", index], null]]));
      return {
        el: h("li.row", {}, words, again),
        update(item) {
          index = item.index;
          say(
            words,
            `Left out: ${item.entry.photo}, at ${item.entry.at?.join(", ")} of the sheet, within ${item.entry.within}`,
          );
        },
      };
    },
  );

  const contour = () => (photo() ? contourOf(photo()) : null);

  function furthest() {
    const curve = contour()?.curves.find(({ residual, outer }) => outer && residual);
    if (!curve) return null;
    let at = 0;
    curve.residual.forEach((mm, i) => {
      if (!curve.left_out[i] && Math.abs(mm) > Math.abs(curve.residual[at])) at = i;
    });
    return { curve, at };
  }

  function nearest([x, y], far) {
    let best = null;
    let least = far;
    for (const curve of contour()?.curves ?? []) {
      curve.px.forEach(([px, py], at) => {
        const d = Math.hypot(px - x, py - y);
        if (d < least) {
          least = d;
          best = { curve, at };
        }
      });
    }
    return best;
  }

  function go(way) {
    const start = chosen ?? furthest() ?? (contour()?.curves[0] ? { curve: contour().curves[0], at: 0 } : null);
    if (!start) return;
    const { curve } = start;
    let at = start.at;
    let travelled = 0;
    const count = curve.px.length;
    for (let i = 0; i < count && travelled < STEP_PX; i++) {
      const next = curve.closed ? (at + way + count) % count : Math.min(count - 1, Math.max(0, at + way));
      if (next === at) break;
      travelled += Math.hypot(curve.px[next][0] - curve.px[at][0], curve.px[next][1] - curve.px[at][1]);
      at = next;
    }
    choose({ curve, at });
  }

  function choose(place, goThere = true) {
    chosen = place;
    show();
    if (place && goThere) look(place.curve.px[place.at]);
  }

  function show() {
    const ready = Boolean(chosen);
    mark(pull, "disabled", ready ? null : true);
    if (!ready) {
      moved([0, 0], 0);
      say(
        where,
        contour()
          ? "Tap a place of the edge, or go to the worst one, to leave a stray piece out: a shadow, a burr, a thumb."
          : "This photo is not measured yet.",
      );
      return;
    }
    const { curve, at } = chosen;
    const mmPerPx = photo().facts?.mm_per_px || 0.1;
    moved(curve.px[at], Number(within) / mmPerPx);
    const off = curve.residual
      ? `${length(Math.abs(curve.residual[at]), 2)} ${curve.residual[at] >= 0 ? "outside" : "inside"} the outline`
      : "chosen";
    say(where, `This place lies ${off}${curve.left_out[at] ? "; it is left out" : ""}.`);
  }

  function leaveOut() {
    const [x, y] = chosen.curve.mm[chosen.at];
    const entry = { photo: photo().file, at: [`${x.toFixed(1)} mm`, `${y.toFixed(1)} mm`], within: `${within} mm` };
    commit("piece left out", [[["leave_out", (state.job.leave_out ?? []).length], entry]]);
    chosen = null;
    show();
  }

  return {
    el: h("section.card.stack.stray", { "aria-label": "Stray pieces" }, chooser, list),
    tapped(point, pixel) {
      const found = nearest(point, NEAR_PX * pixel);
      if (found) choose(found, false);
    },
    leave() {
      chosen = null;
    },
    update() {
      reach.set(within);
      REACHES.forEach((mm) => reach.name(mm, length(Number(mm), 0)));
      chooser.hidden = !photo();
      if (photo()) show();
      items((state.job.leave_out ?? []).map((entry, index) => ({ entry, index })));
    },
  };
}
