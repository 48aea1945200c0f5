// The outline: over the photos and from above, how well it is known, and what to leave out of it.

import { state, value } from "../job.js";
import { h, say } from "../parts/dom.js";
import { checkField, choiceField } from "../parts/fields.js";
import { length } from "../parts/lengths.js";
import { changingSign } from "../parts/marks.js";
import { errorWords, noticeList, sentence, sentences } from "../parts/notices.js";
import { dimensions } from "./dimensions.js";
import { outlinePicture } from "./outline_picture.js";
import { stepTop } from "./top.js";

const FAMILIES = [
  [null, "found by measuring"],
  ...[
    "rounded rectangle",
    "rectangle",
    "chamfered rectangle",
    "stadium",
    "superellipse rectangle",
    "elliptical-cornered rectangle",
    "double-arc rectangle",
    "three-centred rectangle",
    "free-cornered rectangle",
    "circle",
    "ellipse",
    "regular polygon",
    "free",
  ].map((word) => [word, word]),
];
const SYMMETRY = [
  [null, "not stated"],
  ["both", "both ways"],
  ...["lengthwise", "crosswise", "none"].map((word) => [word, word]),
];
const STATES = {
  missing: ["missing", "Not yet"],
  waiting: ["waiting", "Waiting"],
  tracing: ["working", "Measuring all photos together"],
  fitting: ["working", "Fitting the outline"],
  ready: ["done", "Ready"],
  refused: ["retake", "Refused"],
};
// Of an outline that is ready: whether it can be cut from.
const RESULTS = {
  good: ["done", "Ready: good"],
  usable: ["usable", "Ready, with a doubt"],
  "not to be cut": ["retake", "Not to be cut"],
};
const SAYS = "What was measured, how sure each size is, and what to leave out of the fit.";

/** The doubt in a result that can be used; "" where there is none. */
function doubtWords({ state: result, because, notices }) {
  if (result !== "usable") return "";
  const every = [...notices, ...state.photos.flatMap((photo) => photo.notices ?? [])];
  const cause = every.find(({ code }) => code === because?.[0]);
  return cause ? `${sentences(cause).filter(Boolean).join(" ")} ` : "";
}

function stateWords({ state: word, error }, outline) {
  if (error) return errorWords(error);
  if (state.barred) return errorWords(state.barred);
  if (word !== "ready" || !outline) return "It is fitted as soon as there are photos, readings and a thickness.";
  const doubt = doubtWords(outline);
  const [most, rms] = [length(outline.residual_max, 2), length(outline.residual_rms, 3)];
  return `${doubt}${sentence(outline.family)} The drawn line follows the photos within ${most} (rms ${rms}).`;
}

/** Whether there is an outline, and what it is or why there is none. */
function stateCard() {
  const sign = changingSign("missing");
  const word = h("strong");
  const why = h("span.soft");
  const label = { "aria-label": "State of the outline" };
  return {
    el: h("section.card.state", label, h("p.stateline", sign.el, word), h("p", why)),
    update() {
      const now = state.outlineState.state;
      const result = now === "ready" ? RESULTS[state.outline?.state] : null;
      const [signName, text] = result ?? STATES[now] ?? STATES.missing;
      sign.set(signName);
      say(word, text);
      say(why, stateWords(state.outlineState, state.outline));
    },
  };
}

/** What the maker knows about the shape. */
function shapeCard() {
  const family = choiceField({ label: "Shape", path: () => ["part", "family"], options: FAMILIES });
  const symmetry = choiceField({ label: "Symmetry", path: () => ["part", "symmetry"], options: SYMMETRY });
  const snap = checkField({
    label: "Snap to the most likely nominal sizes",
    path: () => ["part", "snap"],
    name: "likely nominal sizes",
  });
  const title = "What you know about the shape";
  const fields = h("div.fields", family.el, symmetry.el);
  return {
    el: h("section.card", { "aria-label": title }, h("h3", title), fields, snap.el),
    update() {
      [family, symmetry, snap].forEach((field) => field.update());
      if (value(["part", "family"]) === "auto") family.input.value = "";
    },
  };
}

function remarksCard() {
  const list = noticeList("Remarks on the outline");
  const none = h("p.soft");
  return {
    el: h("section.card", { "aria-label": "Remarks" }, h("h3", "Remarks"), list.el, none),
    update() {
      const notices = state.outline?.notices ?? [];
      list.update(notices);
      say(none, notices.length ? "" : "None.");
    },
  };
}

export function outlineStep() {
  const top = stepTop("outline", "The outline", SAYS);
  const picture = outlinePicture();
  const cards = [stateCard(), dimensions(), shapeCard(), remarksCard()];
  const beside = h(
    "div.stack",
    picture.pieces,
    cards.map(({ el }) => el),
  );
  return {
    el: h("div", top.el, h("div.two.wideleft", picture.el, beside)),
    update() {
      top.update();
      cards.forEach((card) => card.update());
      picture.update();
    },
  };
}
