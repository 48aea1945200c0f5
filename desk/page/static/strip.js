// The strip: the seven steps as stretches of a scale bar, each with its sign and its word.

import { state } from "./job.js";
import { h, mark, say } from "./parts/dom.js";
import { changingSign } from "./parts/marks.js";

export const STEPS = [
  { step: "frame", name: "Frame" },
  { step: "photos", name: "Photos" },
  { step: "readings", name: "Readings" },
  { step: "outline", name: "Outline" },
  { step: "pocket", name: "Pocket" },
  { step: "files", name: "Files" },
  { step: "fit", name: "After the cut" },
];

const SIGN = { done: "done", missing: "missing", working: "working", look: "usable" };
const WORD = { done: "done", missing: "to do", working: "working", look: "check" };

const placeOf = (step) => STEPS.findIndex((one) => one.step === step);
export const stepBefore = (step) => STEPS[placeOf(step) - 1];
export const stepAfter = (step) => STEPS[placeOf(step) + 1];

/** The address of a step of the job that is open. */
export const stepAddress = (step) => `/?job=${encodeURIComponent(state.id)}#${step}`;

const entries = STEPS.map(({ step, name }, i) => {
  const sign = changingSign("missing");
  const word = h("span.word");
  const link = h(
    "a",
    { "data-state": "missing" },
    h("i"),
    h("span.step", sign.el, h("span.name", h("span.count", `${i + 1} `), name)),
    word,
  );
  return { step, link, sign, word, el: h("li", link) };
});

const el = h(
  "ol",
  entries.map((entry) => entry.el),
);

/** On a narrow window the strip scrolls sideways; the step one is at stays in its middle. */
function centre(link) {
  const left = link.offsetLeft - (el.clientWidth - link.offsetWidth) / 2;
  if (el.scrollWidth > el.clientWidth && shown !== link) el.scrollTo({ left });
  shown = link;
}
let shown = null;

export const strip = {
  el,
  update(inJob, current) {
    document.querySelector("nav.strip").hidden = !inJob;
    if (!inJob) return;
    for (const { step, link, sign, word } of entries) {
      const now = state.steps.find((one) => one.step === step)?.state ?? "missing";
      link.href = stepAddress(step);
      link.dataset.state = now;
      mark(link, "aria-current", step === current ? "step" : null);
      sign.set(SIGN[now]);
      say(word, WORD[now]);
      if (step === current) centre(link);
    }
  },
};
