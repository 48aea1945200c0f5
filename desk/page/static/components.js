// What the page is built from, each piece as it is used: type, spaces, colours, signs, buttons, fields, remarks,
// drawings. For whoever changes the page: a new piece gets its place here.

import { h, s } from "./parts/dom.js";
import { few, lengthInput, pictured } from "./parts/fields.js";
import { sign, signs } from "./parts/marks.js";
import { noticeList } from "./parts/notices.js";
import * as pictures from "./pictures.js";
import { chanceCurve } from "./geometry/chance_curve.js";

const SIZES = [
  ["--t1", "text, labels, buttons"],
  ["--t2", "names of cards"],
  ["--t3", "large buttons"],
  ["--t4", "names of steps, the part's name"],
];
const SPACES = ["--s1", "--s2", "--s3", "--s4", "--s5", "--s6", "--s7"];
const COLOURS = {
  "--paper": "behind everything",
  "--card": "cards, fields, drawings",
  "--ink": "text, lines",
  "--soft": "explanations, units",
  "--rule": "between rows",
  "--edge": "of fields and buttons",
  "--mark": "the one main button, dimensions, what is chosen",
  "--wash": "a part, what is done",
};
const LINES = {
  line: "seen edge, a layer of the files",
  "line inferred": "unseen edge",
  "line dashed": "a layer at another depth",
  "line dash-dot": "a layer cut through",
  cutterpath: "path of the cutter's centre",
  axis: "axis",
  dimline: "dimension",
  extension: "extension line",
};
const REMARKS = ["fine", "usable", "retake"].map((severity) => ({
  code: severity,
  severity,
  text: { fine: "it would help to know more", usable: "something lowers trust", retake: "this cannot be relied on" }[
    severity
  ],
  mend: "what to do about it",
}));
const RUNGS = [0.02, 0.2, 0.6, 0.9, 0.98, 1].map((probability, i) => ({ clearance: i / 10, probability }));

const value = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const card = (title, ...children) =>
  h("section.card.stack", { "aria-label": title }, h("h3", title), h("div.stack", children));
const named = (shown, words) => h("div.row", shown, h("span.soft", words));
const swatch = (style) => h("span.swatch", { "aria-hidden": "true", style });

function typeScale() {
  const row = ([name, use]) => h("p", { style: `font-size: var(${name})` }, `${name}, ${value(name)}: ${use}`);
  return card("Sizes of text, each 1.125 times the one before", SIZES.map(row));
}

const spaceScale = () =>
  card(
    "Spaces",
    SPACES.map((name) => named(swatch(`width: var(${name}); height: 20px`), `${name}, ${value(name)}`)),
  );

const colours = () =>
  card(
    "Colours, in this theme",
    Object.entries(COLOURS).map(([name, use]) =>
      named(swatch(`width: 48px; height: 24px; background: var(${name})`), `${name}: ${use}`),
    ),
  );

const allSigns = () =>
  card(
    "Signs: every state has a shape and a word",
    h(
      "div.row",
      signs.map((name) => h("span.row", sign(name), name)),
    ),
  );

function buttons() {
  const button = (kind, props, ...children) => h(`button${kind}`, { type: "button", ...props }, ...children);
  const undo = button(".bare", { "aria-label": "Undo" }, sign("undo"));
  return card(
    "Buttons: one main one in sight at a time",
    h("div.row", button(".main", {}, "Main"), button("", {}, "Other"), button("", { disabled: true }, "Not now"), undo),
    button(".big", {}, sign("camera"), "Large, for a hand with a phone"),
  );
}

function fields() {
  const length = lengthInput({ label: "A length", step: () => 0.05, placeholder: "9.5 mm", take: () => {} });
  length.show("7 3/16 in");
  const either = ["this", "that"].map((word) => [word, word]);
  const choice = few({ label: "One of few", options: either, take: () => {} });
  choice.set("this");
  const seen = pictured({
    label: "One of few, with pictures",
    options: ["unknown", "sharp", "edge_radius"].map((word) => [word, word.replace("_", " "), pictures.profile(word)]),
    take: () => {},
  });
  seen.set("sharp");
  return card("Fields", h("div.fields", length.el, choice.el), seen.el);
}

function remarks() {
  const list = noticeList("Remarks, as an example");
  list.update(REMARKS);
  return card("Remarks: a sign, a word, what was noticed, what to do", list.el);
}

function lines() {
  const row = ([kind, use]) => {
    const line = s("path", { class: kind, d: "M1 7H119" });
    return named(s("svg.stage.linesample", { viewBox: "0 0 120 14", "aria-hidden": "true" }, line), use);
  };
  const curve = s("svg.chance", { viewBox: "0 0 100 40", preserveAspectRatio: "none", "aria-hidden": "true" });
  curve.append(...chanceCurve(RUNGS, 3, [0.25, 0.4]));
  return card("Lines of drawings; the chance over the clearance", Object.entries(LINES).map(row), curve);
}

function allPictures() {
  const drawn = Object.entries(pictures)
    .filter(([name]) => !["profile", "pictureRow"].includes(name))
    .map(([, make]) => make());
  return card(
    "Pictures, drawn in a box of 240 by 150",
    pictures.pictureRow(...drawn.map((one) => [one, one.ariaLabel])),
  );
}

const SAYS = "Every piece of the page as it is used, in the theme and unit chosen above.";

export function componentsView() {
  const all = [typeScale, spaceScale, colours, allSigns, buttons, fields, remarks, lines, allPictures];
  const el = h("div.components");
  const top = h("div.steptop", h("h2", { tabindex: -1 }, "Components"), h("p.soft", SAYS));
  let drawn = null;
  return {
    el,
    update() {
      const now = `${document.documentElement.dataset.theme}`;
      if (now === drawn) return;
      drawn = now;
      el.replaceChildren(
        top,
        h(
          "div.componentgrid",
          all.map((make) => make()),
        ),
      );
    },
  };
}
