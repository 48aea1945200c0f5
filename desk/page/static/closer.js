// One photo in full, to be moved and enlarged down to its pixels.

import { contourOf } from "./contours.js";
import { overlay, photoImage } from "./overlay.js";
import { h } from "./parts/dom.js";
import { keepSizes } from "./parts/drawn.js";
import { viewer } from "./parts/viewer.js";

const LEAST_PX = 24; // of the photo across the view, at most enlarged

export function closer(photo) {
  const view = viewer({ label: photo.file, least: () => LEAST_PX });
  view.el.addEventListener("looked", () => keepSizes(view.stage));
  const dialog = h(
    "dialog.closer",
    { "aria-label": photo.file },
    view.el,
    h("div.row", h("strong", photo.file), h("button.main", { type: "button", onclick: () => dialog.close() }, "Close")),
  );
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
  view.put(
    [-0.5, -0.5, photo.width, photo.height],
    photoImage(photo, "full"),
    ...overlay(photo, contourOf(photo), { fitted: true }),
  );
  view.all();
}
