// The photos of a test: added, sent at once, taken out again.

import { h, keyed, mark, say } from "../parts/dom.js";
import { errorWords } from "../parts/notices.js";
import { sign } from "../parts/marks.js";
import { filePicker } from "../steps/file_picker.js";
import { send } from "../server.js";

const ENOUGH = 3;

function card(photo, remove) {
  const picture = h("img", { src: photo.preview, alt: "" });
  picture.addEventListener("error", () => picture.remove()); // HEIC, in most browsers
  const words = h("p.soft");
  const name = h("strong");
  const away = h("button", { type: "button", onclick: () => remove(photo) }, sign("away"), "Remove");
  return {
    el: h("li.row.proofphoto", h("div.thumb", picture), h("div.stack", name, words), away),
    update({ number, share, id, error }) {
      say(name, `photo ${number}`);
      mark(away, "aria-label", `Remove photo ${number}`);
      say(words, error ? errorWords(error.record) : id ? "ready" : `sending, ${Math.round(share * 100)} %`);
    },
  };
}

const adding = (take) =>
  h(
    "div.adding",
    filePicker("Take a photo", "camera", { capture: "environment" }, take),
    filePicker("Choose photos", "plus", { multiple: true }, take),
  );

/** `{ el, ids(), lacks(), update() }`. */
export function proofPhotos(changed) {
  let photos = [];
  let count = 0;
  const list = h("ol.stack");
  const remove = (photo) => {
    photos = photos.filter((one) => one !== photo);
    URL.revokeObjectURL(photo.preview);
    changed();
  };
  const cards = keyed(
    list,
    ({ key }) => key,
    ({ photo }) => card(photo, remove),
  );
  const take = (files) => {
    for (const file of files) {
      const photo = { key: ++count, file, preview: URL.createObjectURL(file), share: 0, id: null, error: null };
      photos.push(photo);
      sent(photo);
    }
    changed();
  };
  const came = (photo, id) => {
    // The same picture twice would count twice.
    if (photos.some((other) => other.id === id)) remove(photo);
    else photo.id = id;
  };
  async function sent(photo) {
    try {
      const path = `/api/proofs/photos?name=${encodeURIComponent(photo.file.name)}`;
      const { id } = await send("POST", path, photo.file, (share) => {
        photo.share = share;
        changed();
      });
      came(photo, id);
    } catch (error) {
      photo.error = error;
    }
    changed();
  }
  const advice = h("p.soft");
  return {
    el: h("div.stack", adding(take), list, advice),
    ids: () => photos.map(({ id }) => id).filter(Boolean),
    lacks() {
      if (!photos.some(({ id }) => id)) return ["a photo"];
      return photos.every(({ id, error }) => id || error) ? [] : ["photos that are still being sent"];
    },
    update() {
      cards(photos.map((photo, i) => ({ ...photo, photo, number: i + 1 })));
      const left = ENOUGH - photos.length;
      say(advice, left > 0 ? `Take ${ENOUGH} or more; move and turn the object between them.` : "");
    },
  };
}
