// The outline to look at: from above with its deviation band, or over each photo.

import { contourOf } from "../contours.js";
import { state } from "../job.js";
import { overlay, photoImage, sizeNumbers } from "../overlay.js";
import { h, keyed, mark, s, say } from "../parts/dom.js";
import { few } from "../parts/fields.js";
import { viewer } from "../parts/viewer.js";
import { outlinePlan } from "../plan_view.js";
import { stray } from "./stray.js";

const LEAST_PX = 16; // of a photo across the view
const LEAST_MM = 2; // of the plan
const NEAR_PX = 400; // of a photo across the view, when a point is gone to
const EMPTY = [-100, -60, 200, 120];
const PHOTO_SIZE = [4000, 3000]; // until a photo's own is known
const PLAN = "plan";
const TIMES = ["20", "50", "100", "200"];

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

const planPicture = (times) => (state.outline ? outlinePlan(state.outline, times) : [EMPTY]);

function photoPicture(photo, contour, marker) {
  const [width, height] = [photo.width || PHOTO_SIZE[0], photo.height || PHOTO_SIZE[1]];
  const over = overlay(photo, contour, { fitted: true });
  return [[-0.5, -0.5, width, height], photoImage(photo, "full"), ...over, marker];
}

/** How many times the deviations are magnified. */
function scaleChoice(take) {
  return few({
    label: "Deviation band, magnified",
    options: TIMES.map((word) => [word, `${word}×`]),
    take: (word) => take(Number(word)),
  });
}

export function outlinePicture() {
  let shown = PLAN;
  let times = 100;
  let drawn = null;
  let drawnContour = null;
  const view = viewer({
    label: "Outline",
    least: () => (shown === PLAN ? LEAST_MM : LEAST_PX),
    tapped: (point, pixel) => shown !== PLAN && pieces.tapped(point, pixel),
  });
  view.el.addEventListener("looked", () => sizeNumbers(view.stage));
  const marker = ring();
  const shownPhoto = () => state.photos.find(({ id }) => id === shown) ?? null;
  const pieces = stray({ photo: shownPhoto, moved: marker.move, look: (point) => view.look(point, NEAR_PX) });
  const choose = (id) => {
    shown = id;
    drawn = null;
    pieces.leave();
    update();
  };
  const tabs = tabRow((id) => id === shown, choose);
  const scale = scaleChoice((chosen) => {
    times = chosen;
    draw();
  });

  function draw() {
    const photo = shownPhoto();
    if (!photo) shown = PLAN;
    const contour = photo ? contourOf(photo) : null;
    const now = `${shown}|${times}|${state.outline?.key}|${photo?.key}|${photo?.turn}`;
    if (now === drawn && contour === drawnContour) return;
    [drawn, drawnContour] = [now, contour];
    if (photo) view.caption(contour ? null : "Not measured yet");
    else view.caption(state.outline ? null : "No outline yet");
    view.put(...(photo ? photoPicture(photo, contour, marker.el) : planPicture(times)));
  }

  function update() {
    const photos = state.photos.map(({ id, shows }, i) => ({ id, name: named(shows, state.photos.slice(0, i)) }));
    tabs.update([{ id: PLAN, name: "From above" }, ...photos]);
    scale.set(times);
    scale.el.hidden = shown !== PLAN;
    pieces.el.hidden = shown === PLAN && !(state.job.leave_out ?? []).length;
    pieces.update();
    draw();
  }
  return {
    el: h("div.stack.stays", tabs.el, h("div.look", view.el), h("div.bandrow", scale.el)),
    pieces: pieces.el,
    update,
  };
}
