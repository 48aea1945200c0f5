// A piece of contour that is not the part: found by a tap or by going along the edge, left out of the fit, put back.

import { contourOf } from "../contours.js";
import { along, furthest, nearest } from "../geometry/curves.js";
import { commit, state } from "../job.js";
import { h, keyed, mark, say } from "../parts/dom.js";
import { few } from "../parts/fields.js";
import { length } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";

const STEP_PX = 60; // along the edge, for each press
const REACHES = ["2", "4", "8", "16"]; // mm round the point
const NEAR_PX = 40; // CSS pixels that a tap may miss the edge by
const USUAL_MM_PER_PX = 0.1; // where a photo's own scale is not known yet

const CHOOSE =
  "Tap a point on the edge, or go to the largest error, to leave out what is not the part: " +
  "a shadow, a burr, a thumb.";

const leftOut = () => state.job.leave_out ?? [];

/** The pieces left out so far, each to put back. */
function leftOutList() {
  const el = h("ul.stack");
  const items = keyed(
    el,
    ({ entry }) => JSON.stringify(entry),
    () => {
      const words = h("span");
      const again = h("button", { type: "button" }, "Put it back");
      let index = 0;
      again.addEventListener("click", () => commit("piece put back", [[["leave_out", index], null]]));
      return {
        el: h("li.row", words, again),
        update({ entry, index: now }) {
          index = now;
          say(words, `Left out: ${entry.photo}, at ${entry.at?.join(", ")} on the sheet, within ${entry.within}`);
        },
      };
    },
  );
  return { el, update: () => items(leftOut().map((entry, index) => ({ entry, index }))) };
}

/** What is said of the point chosen. */
function pointWords({ curve, at }) {
  const out = curve.left_out[at] ? "; it is left out" : "";
  if (!curve.residual) return `This point is on the edge${out}.`;
  const side = curve.residual[at] >= 0 ? "outside" : "inside";
  return `This point lies ${length(Math.abs(curve.residual[at]), 2)} ${side} the outline${out}.`;
}

/** The buttons that choose a point and leave it out: `{ el, update(chosen, words), within() }`. */
function chooser({ worst, go, leaveOut, changed }) {
  let within = "4";
  const where = h("p.where");
  const reach = few({
    label: "Length to leave out",
    options: REACHES.map((mm) => [mm, `${mm} mm`]),
    take: (mm) => {
      within = mm;
      changed();
    },
  });
  const button = (signName, text, act) => h("button", { type: "button", onclick: act }, sign(signName), text);
  const pull = button("away", "Leave it out", leaveOut);
  const ways = h(
    "div.row",
    button("usable", "Largest error", worst),
    button("left", "Back along the edge", () => go(-1)),
    button("right", "On along the edge", () => go(1)),
  );
  return {
    el: h("div.stack", where, ways, reach.el, h("div.row", pull)),
    within: () => within,
    update(chosen, words) {
      mark(pull, "disabled", chosen ? null : true);
      say(where, words);
      reach.set(within);
      REACHES.forEach((mm) => reach.name(mm, length(Number(mm), 0)));
    },
  };
}

/**
 * `photo()` is the one looked at; `moved(px, radius)` shows the point chosen; `look(px)` goes there.
 */
export function stray({ photo, moved, look }) {
  let chosen = null; // { curve, at: number of the point }
  const curves = () => (photo() ? (contourOf(photo())?.curves ?? []) : []);
  const box = chooser({ worst: () => choose(furthest(curves())), go, leaveOut, changed: show });
  const list = leftOutList();

  function go(way) {
    const start = chosen ?? furthest(curves()) ?? (curves()[0] ? { curve: curves()[0], at: 0 } : null);
    if (start) choose({ curve: start.curve, at: along(start.curve, start.at, way, STEP_PX) });
  }

  function choose(point, goThere = true) {
    chosen = point;
    show();
    if (point && goThere) look(point.curve.px[point.at]);
  }

  function show() {
    if (!chosen) {
      moved([0, 0], 0);
      box.update(false, curves().length ? CHOOSE : "This photo is not measured yet.");
      return;
    }
    moved(chosen.curve.px[chosen.at], Number(box.within()) / (photo().facts?.mm_per_px || USUAL_MM_PER_PX));
    box.update(true, pointWords(chosen));
  }

  function leaveOut() {
    const at = chosen.curve.mm[chosen.at].map((v) => `${v.toFixed(1)} mm`);
    const entry = { photo: photo().file, at, within: `${box.within()} mm` };
    commit("piece left out", [[["leave_out", leftOut().length], entry]]);
    choose(null);
  }

  return {
    el: h("section.card.stack.stray", { "aria-label": "Pieces left out" }, box.el, list.el),
    tapped(point, pixel) {
      const found = nearest(curves(), point, NEAR_PX * pixel);
      if (found) choose(found, false);
    },
    leave() {
      chosen = null;
    },
    update() {
      box.el.hidden = !photo();
      if (photo()) show();
      list.update();
    },
  };
}
