// A frame of one's own: a description of markers from a file, or a plain rectangle by its sizes.

import { freshId, h } from "../parts/dom.js";
import { parseLength, withUnit } from "../parts/lengths.js";
import { problems } from "../problems.js";
import { filePicker } from "./file_picker.js";

const SIZES = [
  ["width", "Width of the opening"],
  ["height", "Height of the opening"],
  ["border", "Width of its border"],
  ["thickness", "Its thickness"],
];

/** `give(description, bars)` puts it into the job, with its bars as read. */
export function ownFrames(give) {
  const own = h("details.ownframe");
  const lay = (...given) => Promise.resolve(give(...given)).then(() => (own.open = false));
  const inputs = SIZES.map(([, label]) => {
    const id = freshId("plain");
    const input = h("input", { id, type: "text", autocomplete: "off", required: true, placeholder: "200 mm" });
    return { input, el: h("div.field", h("label", { for: id }, label), input) };
  });
  const form = h(
    "form.stack",
    h("p", "A plain frame: a dark flat rectangle with an opening, such as a picture frame. Measure it with a caliper."),
    h(
      "div.fields",
      inputs.map(({ el }) => el),
    ),
    h("button", "Use this plain frame"),
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const texts = inputs.map(({ input }) => withUnit(input.value));
    const sizes = texts.map(parseLength);
    const wrong = sizes.findIndex((mm) => mm === null);
    if (wrong >= 0) {
      problems.report({ message: `${SIZES[wrong][1]}: write a length`, mend: "Such as 200 mm or 8 in" });
      inputs[wrong].input.focus();
      return;
    }
    const [width, height, border, thickness] = sizes;
    const plain = { name: "plain frame", units: "mm", kind: "plain" };
    lay({ ...plain, opening: [width, height], border, thickness }, { x: texts[0], y: texts[1] });
  });
  const read = async ([file]) => {
    try {
      await lay(JSON.parse(await file.text()));
    } catch {
      problems.report({ message: "This file is not a frame description", mend: "Choose its .json file" });
    }
  };
  const pick = filePicker("Choose its description", "plus", { accept: ".json,application/json" }, read, "button");
  own.append(h("summary", "A frame of your own"), h("div.stack", pick, form));
  return own;
}
