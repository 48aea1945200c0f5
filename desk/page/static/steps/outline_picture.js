// The outline to look at: from above as a dimensioned drawing, or over each photo.

import { contourOf } from "../contours.js";
import { state } from "../job.js";
import { overlay, photoImage } from "../overlay.js";
import { h, keyed, mark, s, say } from "../parts/dom.js";
import { keepSizes } from "../parts/drawn.js";
import { few } from "../parts/fields.js";
import { sign } from "../parts/marks.js";
import { view as shownAs } from "../parts/view.js";
import { viewer } from "../parts/viewer.js";
import { fittingTimes, outlinePlan, TIMES } from "../plan_view.js";
import { stray } from "./stray.js";

const LEAST_PX = 16; // of a photo across the view
const LEAST_MM = 2; // of the plan
const NEAR_PX = 400; // of a photo across the view, when a point is gone to
const EMPTY = [-100, -60, 200, 120];
const PHOTO_SIZE = [4000, 3000]; // until a photo's own is known
const PLAN = "plan";
const BANDS = {
  u95: ["How sure", "the edge lies within the band with 95 % probability"],
  deviation: ["Deviations", "how far the measured points lie from the line"],
};

/** The outline as long as it is the job's: after a refusal there is none. */
const outlineNow = () => (state.outlineState.state === "refused" ? null : state.outline);

/** What a photo shows, numbered where several show the same. */
function named(shows, before) {
  const same = before.filter((photo) => photo.shows === shows).length;
  return same ? `${shows} ${same + 1}` : shows;
}

/** The point that is about to be left out, as a ring over the photo. */
function ring() {
  const circles = [s("circle", { class: "over place-under", r: 0 }), s("circle", { class: "over place", r: 0 })];
  return {
    el: s("g", circles),
    move([x, y], radius) {
      for (const circle of circles) {
        mark(circle, "cx", x);
        mark(circle, "cy", y);
        mark(circle, "r", radius);
        mark(circle, "display", radius ? null : "none");
      }
    },
  };
}

function tabRow(isShown, choose) {
  const el = h("div.row.tabs", { role: "group", "aria-label": "What to look at" });
  const items = keyed(
    el,
    ({ id }) => id,
    ({ id }) => {
      const button = h("button", { type: "button", onclick: () => choose(id) });
      return {
        el: button,
        update({ name }) {
          say(button, name);
          mark(button, "aria-pressed", isShown(id) ? "true" : "false");
        },
      };
    },
  );
  return { el, update: items };
}

// Bounds and children for the viewer.

function photoPicture(photo, contour, marker) {
  const [width, height] = [photo.width || PHOTO_SIZE[0], photo.height || PHOTO_SIZE[1]];
  const over = overlay(photo, contour, { fitted: true });
  return [[-0.5, -0.5, width, height], photoImage(photo, "full"), ...over, marker];
}

/** What the lines and the band of the plan mean, and which band it is: `{ el, band(), times() }`. */
function legend(changed) {
  let band = "u95";
  let chosen = {}; // magnification by band, where one was chosen
  const times = () => chosen[band] ?? (state.outline ? fittingTimes(state.outline, band) : 1);
  const sample = (kind) =>
    s("svg.sample", { viewBox: "0 0 60 14", "aria-hidden": "true" }, s("path", { class: kind, d: "M1 7H59" }));
  const row = (kind, ...words) => h("li.row", sample(kind), h("span", words));
  const bandWords = h("span");
  const step = (way) => () => {
    const place = Math.min(TIMES.length - 1, Math.max(0, TIMES.indexOf(times()) + way));
    chosen = { ...chosen, [band]: TIMES[place] };
    changed();
  };
  const button = (name, says, way) =>
    h("button", { type: "button", "aria-label": says, onclick: step(way) }, sign(name));
  const bands = few({
    label: "Band",
    options: Object.entries(BANDS).map(([word, [name]]) => [word, name]),
    unseen: true,
    take: (word) => {
      band = word;
      changed();
    },
  });
  const kinds = h(
    "ul.legendlist",
    row("line", "seen in a photo"),
    row("line inferred", "not seen in a photo"),
    row("band thick", bandWords),
  );
  const buttons = h("div.row", bands.el, button("minus", "Magnify less", -1), button("plus", "Magnify more", 1));
  return {
    el: h("div.stack.bandrow", buttons, kinds),
    band: () => band,
    times,
    update() {
      bands.set(band);
      say(bandWords, `${BANDS[band][1]}, magnified ${times()}×`);
    },
  };
}

export function outlinePicture() {
  let shown = PLAN;
  let drawn = null;
  let drawnContour = null;
  const view = viewer({
    label: "Outline",
    least: () => (shown === PLAN ? LEAST_MM : LEAST_PX),
    tapped: (point, pixel) => shown !== PLAN && pieces.tapped(point, pixel),
  });
  view.el.addEventListener("looked", () => keepSizes(view.stage));
  new ResizeObserver(() => draw()).observe(view.stage);
  const marker = ring();
  const shownPhoto = () => state.photos.find(({ id }) => id === shown) ?? null;
  const pieces = stray({ photo: shownPhoto, moved: marker.move, look: (point) => view.look(point, NEAR_PX) });
  const tabs = tabRow(
    (id) => id === shown,
    (id) => {
      shown = id;
      pieces.leave();
      update();
    },
  );
  const lines = legend(() => update());

  function planPicture() {
    if (!outlineNow()) return [EMPTY];
    const size = view.room();
    return outlinePlan(state.outline, { band: lines.band(), times: lines.times(), unit: shownAs.unit, size });
  }

  function draw() {
    const photo = shownPhoto();
    if (!photo) shown = PLAN;
    const contour = photo ? contourOf(photo) : null;
    const how = photo ? "" : [lines.band(), lines.times(), shownAs.unit, ...view.room()].join();
    const now = `${shown}|${how}|${outlineNow()?.key}|${photo?.key}|${photo?.turn}`;
    if (now === drawn && contour === drawnContour) return;
    [drawn, drawnContour] = [now, contour];
    if (photo) view.caption(contour ? null : "Not measured yet");
    else view.caption(outlineNow() ? null : "No outline yet");
    view.put(...(photo ? photoPicture(photo, contour, marker.el) : planPicture()));
  }

  function update() {
    const photos = state.photos.map(({ id, shows }, i) => ({ id, name: named(shows, state.photos.slice(0, i)) }));
    tabs.update([{ id: PLAN, name: "From above" }, ...photos]);
    lines.update();
    lines.el.hidden = shown !== PLAN;
    pieces.el.hidden = shown === PLAN && !(state.job.leave_out ?? []).length;
    pieces.update();
    draw();
  }
  return { el: h("div.stack.stays", tabs.el, h("div.look", view.el), lines.el), pieces: pieces.el, update };
}
