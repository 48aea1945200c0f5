// A button that opens the camera or the choice of files.

import { h } from "../parts/dom.js";
import { sign } from "../parts/marks.js";

export function filePicker(label, signName, props, take, kind = "button.big") {
  const input = h("input", { type: "file", accept: "image/*,.heic,.heif", hidden: true, ...props });
  input.addEventListener("change", () => {
    if (input.files.length) take([...input.files]);
    input.value = "";
  });
  const button = h(kind, { type: "button", onclick: () => input.click() }, sign(signName), label);
  return h("div.picker", button, input);
}
