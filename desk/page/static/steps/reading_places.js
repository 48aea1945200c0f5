// The part from above and from the side, each dimension with the button that adds a reading to it.

import { value } from "../job.js";
import { h, mark, s, say } from "../parts/dom.js";
import { length, parseLength } from "../parts/lengths.js";
import { add, lengthsOf, mean, readings, WHAT } from "./reading_cards.js";

/** What all readings of one dimension say together, in a few words. */
function summary(what) {
  const taken = readings()
    .filter((one) => one.what === what)
    .flatMap(lengthsOf);
  const times = taken.length === 1 ? "read once" : `read ${taken.length} times`;
  if (taken.length) return { size: length(mean(taken)), note: times };
  const single = what === "thickness" ? parseLength(value(["part", "thickness"]) ?? "") : null;
  if (single !== null) return { size: length(single), note: "a single value" };
  return { size: "not read", note: "add a reading" };
}

const plan = () =>
  s(
    "svg.drawing",
    { viewBox: "0 0 400 230", "aria-hidden": "true" },
    s("rect.line", { x: 70, y: 30, width: 300, height: 120, rx: 34 }),
    s("path.thin", { d: "M70 158v38M370 158v38M62 30h-40M62 150h-40" }),
    s("path.measure", { d: "M72 190h296M78 185l-6 5l6 5M362 185l6 5l-6 5" }),
    s("path.measure", { d: "M28 32v116M23 38l5-6l5 6M23 142l5 6l5-6" }),
    s("path.measure", { d: "M336 64l24-24M359 48v-7h-7" }),
    s("circle.thin", { cx: 336, cy: 64, r: 2 }),
  );

const side = () =>
  s(
    "svg.drawing",
    { viewBox: "0 0 400 60", "aria-hidden": "true" },
    s("rect.line", { x: 215, y: 16, width: 155, height: 28, rx: 6 }),
    s("path.thin", { d: "M207 16h-24M207 44h-24" }),
    s("path.measure", { d: "M190 18v24M185 23l5-5l5 5M185 37l5 5l5-5" }),
  );

function dimension(what) {
  const title = what[0].toUpperCase() + what.slice(1);
  const [size, note] = [h("strong.figure"), h("span.soft")];
  const props = { type: "button", "data-what": what.replace(" ", "-"), onclick: () => add(what) };
  const el = h("button.dimension", props, h("span", title), size, note);
  return {
    el,
    update() {
      const says = summary(what);
      say(size, says.size);
      say(note, says.note);
      mark(el, "aria-label", `${what}: ${says.size}, ${says.note}. Add a reading`);
    },
  };
}

export function places() {
  const made = new Map(WHAT.map((what) => [what, dimension(what)]));
  const el = (what) => made.get(what).el;
  const above = h("div.plan", plan(), el("width"), el("length"), el("corner radius"));
  return {
    el: h("div.places", above, h("div.side", side(), el("thickness"))),
    update: () => made.forEach((one) => one.update()),
  };
}
