// Photos: dropped or taken, measured while one looks on, each with its verdict.

import { state } from "../job.js";
import { h, keyed, say } from "../parts/dom.js";
import { errorWords } from "../parts/notices.js";
import { heldPhone, laidPart, pictureRow, sideLight } from "../pictures.js";
import { problems } from "../problems.js";
import { forget, restore, retry, upload, uploads } from "../uploads.js";
import { filePicker } from "./file_picker.js";
import { photoCard } from "./photo_card.js";
import { stepTop } from "./top.js";

const SAYS = "Lay one end of the part on the window, underside down, and hold the phone nearly level above it.";
const NONE = "No photo yet. One of each end is enough, two are better.";
const HOW = [
  [laidPart, "One end over the window, 5 mm or more inside its border. Cover markers on one side only."],
  [heldPhone, "Phone level, above the part, with the whole sheet in the picture."],
  [sideLight, "Light from the side. No flash."],
];

/** The file itself as a picture, where the browser can show it. */
function previewOf({ preview, name }) {
  const image = h("img.quick", { src: preview, alt: name });
  image.addEventListener("error", () => image.remove()); // HEIC, in most browsers
  return image;
}

/** A photo on its way to the server. */
function sendingCard(entry) {
  const picture = h("div.pictured", previewOf(entry));
  const bar = h("progress", { max: 1, "aria-label": `Sending ${entry.name}` });
  const words = h("p");
  const again = h("button", { type: "button", onclick: () => retry(entry) }, "Send again");
  const cancel = h("button", { type: "button", onclick: () => forget(entry) }, "Cancel");
  return {
    el: h("li.card.photo.sending", picture, h("h3", entry.name), bar, words, h("div.row", again, cancel)),
    update() {
      bar.value = entry.share;
      bar.hidden = Boolean(entry.error);
      again.hidden = !entry.error;
      say(words, entry.error ? errorWords(entry.error.record) : `Sending, ${Math.round(entry.share * 100)} %`);
    },
  };
}

/** Photos taken out of the job, each to put back. */
function removedRow() {
  const el = h("div.row");
  const button = ({ id, file }) =>
    h(
      "button",
      { type: "button", onclick: () => restore(id).catch(problems.report) },
      `Put ${file.replace(/^.*--/, "")} back`,
    );
  return {
    el,
    update() {
      const words = state.removed.length ? [h("span.soft", "Removed, but kept:")] : [];
      el.replaceChildren(...words, ...state.removed.map(button));
    },
  };
}

function takeDrops(el) {
  el.addEventListener("dragover", (event) => {
    event.preventDefault();
    el.classList.add("over");
  });
  el.addEventListener("dragleave", () => el.classList.remove("over"));
  el.addEventListener("drop", (event) => {
    event.preventDefault();
    el.classList.remove("over");
    upload([...event.dataTransfer.files]);
  });
}

export function photosStep() {
  const list = h("ol.photos");
  const cards = keyed(
    list,
    (item) => item.id ?? `sending ${item.key}`,
    (item) => (item.id ? photoCard(item) : sendingCard(item)),
  );
  const how = HOW.map(([make, words]) => [make(), words]);
  const empty = h("section.card.stack", { "aria-label": "How to take a photo" }, h("p", NONE), pictureRow(...how));
  const removed = removedRow();
  const add = h(
    "section.card.adding",
    { "aria-label": "Add photos" },
    filePicker("Take a photo", "camera", { capture: "environment" }, upload, "button.big.main"),
    filePicker("Choose photos", "plus", { multiple: true }, upload),
    h("p.soft.drophint", "Or drop them anywhere on this page. HEIC, JPEG and PNG will do."),
  );
  const top = stepTop("photos", "Photos", SAYS);
  const el = h("div.dropping", top.el, h("div.stack", add, empty, list, removed.el));
  takeDrops(el);
  return {
    el,
    update() {
      top.update();
      const sending = uploads.filter(({ job }) => job === state.id);
      empty.hidden = state.photos.length + sending.length > 0;
      cards([...state.photos, ...sending]);
      removed.update();
    },
  };
}
