// Phone, print and light put to the test on something of published size.

import { h, mark, say } from "../parts/dom.js";
import { lengthInput } from "../parts/fields.js";
import { counted } from "../parts/quantities.js";
import { cardInWindow, heldPhone, pictureRow, sideLight } from "../pictures.js";
import { ask } from "../server.js";
import { objectChoice } from "./object_choice.js";
import { printedSheet } from "./printed_sheet.js";
import { proofPhotos } from "./proof_photos.js";
import { keptTests, resultCard } from "./proof_result.js";

const SAYS =
  "Photograph something of published size as you photograph a part. The test tells how far phone, print and light " +
  "are from it; the result is kept, and later reports name it.";
const LIMIT =
  "It passes where every size error is within this limit by its U95, fails where one is beyond, and is not decided " +
  "in between.";
const HOW = [
  [cardInWindow, "In the middle of the window, clear of the markers. Move and turn it between the photos."],
  [heldPhone, "The whole sheet in the picture, phone nearly level."],
  [sideLight, "Light from the side, no flash."],
];

/** The limit of a size error, as typed; null for the usual one. */
function limitField(changed) {
  let text = null;
  const field = lengthInput({
    label: "Limit of a size error",
    optional: true,
    placeholder: "0.2 mm",
    take(next) {
      text = next;
      changed();
    },
  });
  return { el: field.el, asked: () => ({ mpe: text }), update: () => field.show(text ?? "") };
}

const point = (title, ...children) => h("li", h("h3", title), h("div.stack.whole", children));

/** The whole page out of its pieces. */
function laidOut({ object, sheet, photos, limit, result, kept, start, missing }) {
  const steps = h(
    "ol.todo",
    point("What lies there", object.el),
    point("Which sheet it lies on", sheet.el),
    point("Photos", pictureRow(...HOW.map(([make, words]) => [make(), words])), photos.el),
    point("The limit", limit.el, h("p.soft", LIMIT)),
  );
  const test = h("section.card.stack", { "aria-label": "The test" }, steps, start, missing);
  const top = h("div.steptop", h("h2", { tabindex: -1 }, "Test phone and print"), h("p.soft", SAYS));
  return h("div.prove", top, h("div.two", test, h("div.stack", result.el, kept.el)));
}

export function proveView(report) {
  let running = false;
  const wanted = new URLSearchParams(location.search).get("print");
  const parts = {
    object: objectChoice(() => update()),
    sheet: printedSheet(wanted, () => update()),
    photos: proofPhotos(() => update()),
    limit: limitField(() => update()),
    result: resultCard(),
    kept: keptTests(),
  };
  const { object, sheet, photos, limit, result, kept } = parts;
  const start = h("button.main.big", { type: "button", onclick: () => run().catch(report) }, "Test");
  const missing = h("p.soft", { role: "status" });

  const read = () =>
    ask("GET", "/api/proofs").then((found) => {
      object.show(found.objects);
      kept.show(found.tests);
    });

  async function run() {
    running = true;
    const ids = photos.ids();
    result.working(counted(ids.length, "photo"));
    update();
    const json = { photos: ids, ...object.asked(), ...sheet.asked(), ...limit.asked() };
    try {
      result.show(await ask("POST", "/api/proofs", { json }));
      await read();
    } catch (refusal) {
      result.refused(refusal);
    }
    running = false;
    update();
    result.el.scrollIntoView({ block: "nearest" });
  }

  function update() {
    Object.values(parts).forEach((one) => one.update());
    const lacks = [...object.lacks(), ...sheet.lacks(), ...photos.lacks()];
    mark(start, "disabled", lacks.length || running ? true : null);
    say(missing, lacks.length ? `Still missing: ${lacks.join("; ")}.` : "");
  }
  read().catch(report);
  return { el: laidOut({ ...parts, start, missing }), update };
}
