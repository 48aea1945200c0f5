// The outline: over the photos and from above, how well it is known, and what to leave out of it.

import { contourOf } from "../contours.js";
import { commit, state, value } from "../job.js";
import { overlay, photoImage, sizeNumbers } from "../overlay.js";
import { outlinePlan } from "../plan_view.js";
import { h, keyed, mark, s, say } from "../parts/dom.js";
import { checkField, choiceField, few } from "../parts/fields.js";
import { inUnit, length } from "../parts/lengths.js";
import { changingSign, sign } from "../parts/marks.js";
import { noticeList, sentence } from "../parts/notices.js";
import { viewer } from "../parts/viewer.js";
import { dimensions } from "./dimensions.js";
import { stray } from "./stray.js";
import { stepTop } from "./top.js";

const FAMILIES = [
  "auto",
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
];
const SYMMETRY = [
  [null, "both ways"],
  ["lengthwise", "along its length only"],
  ["crosswise", "across only"],
  ["none", "not at all"],
];
const STATES = {
  missing: "Not yet",
  waiting: "Waiting its turn",
  tracing: "Measuring all photos together",
  fitting: "Fitting the outline",
  ready: "Ready",
  refused: "Refused",
};
const STATE_SIGNS = {
  missing: "missing",
  waiting: "waiting",
  tracing: "working",
  fitting: "working",
  ready: "done",
  refused: "retake",
};
const LEAST_PX = 16;
const LEAST_MM = 2;
const PLAN = "plan";

/** What a photo shows, numbered where several show the same. */
function named(shows, before) {
  const same = before.filter((photo) => photo.shows === shows).length;
  return same ? `${shows} ${same + 1}` : shows;
}

export function outlineStep() {
  let shown = PLAN;
  let drawn = null;
  let drawnContour = null;
  const view = viewer({
    label: "Outline",
    least: () => (shown === PLAN ? LEAST_MM : LEAST_PX),
    tapped: (point, pixel) => shown !== PLAN && pieces.tapped(point, pixel),
  });
  view.el.addEventListener("looked", () => sizeNumbers(view.stage));
  const marker = s(
    "g",
    {},
    s("circle", { class: "over place-under", r: 0 }),
    s("circle", { class: "over place", r: 0 }),
  );

  const tabs = h("div.row.tabs", { role: "group", "aria-label": "What to look at" });
  const tab = keyed(
    tabs,
    ({ id }) => id,
    ({ id }) => {
      const button = h("button", {
        type: "button",
        onclick: () => {
          shown = id;
          drawn = null;
          pieces.leave();
          update();
        },
      });
      return {
        el: button,
        update({ name }) {
          say(button, name);
          mark(button, "aria-pressed", shown === id ? "true" : "false");
        },
      };
    },
  );
  const scale = few({
    label: "Ribbon, enlarged",
    options: [
      ["20", "20×"],
      ["50", "50×"],
      ["100", "100×"],
      ["200", "200×"],
    ],
    take: (times) => {
      ribbon = Number(times);
      drawn = null;
      update();
    },
  });
  let ribbon = 100;

  const pieces = stray({
    photo: () => state.photos.find(({ id }) => id === shown) ?? null,
    moved: (point, width) => {
      for (const circle of marker.children) {
        circle.setAttribute("cx", point[0]);
        circle.setAttribute("cy", point[1]);
        circle.setAttribute("r", width);
        mark(circle, "display", width ? null : "none");
      }
    },
    look: (point) => view.look(point, 400),
  });

  const stateSign = changingSign("missing");
  const stateWord = h("strong");
  const why = h("span.soft");
  const family = choiceField({
    label: "Shape",
    path: () => ["part", "family"],
    options: FAMILIES.map((word) => [word === "auto" ? null : word, word === "auto" ? "as the points say" : word]),
  });
  const symmetry = choiceField({
    label: "Its two halves are alike",
    path: () => ["part", "symmetry"],
    options: SYMMETRY,
    name: "symmetry",
  });
  const snap = checkField({
    label: "Move sizes to their likely drawn ones",
    path: () => ["part", "snap"],
    name: "likely drawn sizes",
  });
  const sizes = dimensions();
  const noRemark = h("p.soft");
  const remarks = noticeList({ label: "Remarks on the outline" });
  const top = stepTop(
    "outline",
    "The outline",
    "Dark line: what was measured. Dashed line: the outline that was fitted. The ribbon shows, enlarged, how far the measured points lie from it.",
  );

  const el = h(
    "div",
    {},
    top.el,
    h(
      "div.two.wideleft",
      {},
      h("div.stack.stays", {}, tabs, h("div.look", {}, view.el), h("div.ribbonrow", {}, scale.el)),
      h(
        "div.stack",
        {},
        pieces.el,
        h(
          "section.card.state",
          { "aria-label": "State of the outline" },
          h("p.stateline", {}, stateSign.el, stateWord),
          h("p", {}, why),
        ),
        sizes.el,
        h(
          "section.card",
          { "aria-label": "What is known of the shape" },
          h("h3", {}, "What you know of the shape"),
          h("div.fields", {}, family.el, symmetry.el),
          snap.el,
        ),
        h("section.card", { "aria-label": "Remarks" }, h("h3", {}, "Remarks"), remarks.el, noRemark),
      ),
    ),
  );

  function draw() {
    const photo = state.photos.find(({ id }) => id === shown);
    if (shown !== PLAN && !photo) shown = PLAN;
    const contour = photo ? contourOf(photo) : null;
    const now = `${shown}|${ribbon}|${state.outline?.key}|${photo?.key}|${photo?.turn}`;
    if (now === drawn && contour === drawnContour) return;
    drawn = now;
    drawnContour = contour;
    if (shown === PLAN) {
      view.caption(state.outline ? null : "No outline yet");
      if (state.outline) view.put(...outlinePlan(state.outline, ribbon));
      else view.put([-100, -60, 200, 120]);
    } else {
      view.caption(contour ? null : "Not measured yet");
      view.put(
        [-0.5, -0.5, photo.width || 4000, photo.height || 3000],
        photoImage(photo, "full"),
        ...overlay(photo, contour, { fitted: true }),
        marker,
      );
    }
  }

  function update() {
    top.update();
    const { state: word, error } = state.outlineState;
    stateSign.set(STATE_SIGNS[word] ?? "missing");
    say(stateWord, STATES[word] ?? word);
    say(
      why,
      error
        ? `${inUnit(sentence(error.what))} ${inUnit(sentence(error.mend))}`
        : word === "ready" && state.outline
          ? `${sentence(state.outline.family).slice(0, -1)}; the measured points lie ${length(state.outline.residual_rms, 3)} rms from it, ${length(state.outline.residual_max, 2)} at most.`
          : "It is made as soon as there are photos, readings and a thickness.",
    );
    tab([
      { id: PLAN, name: "From above" },
      ...state.photos.map(({ id, shows }, i) => ({ id, name: named(shows, state.photos.slice(0, i)) })),
    ]);
    scale.set(ribbon);
    el.querySelector(".ribbonrow").hidden = shown !== PLAN;
    pieces.el.hidden = shown === PLAN && !(state.job.leave_out ?? []).length;
    pieces.update();
    [family, symmetry, snap].forEach((field) => field.update());
    if (value(["part", "symmetry"]) === "both") symmetry.input.value = "";
    if (value(["part", "family"]) === "auto") family.input.value = "";
    sizes.update();
    const said = state.outline?.notices ?? [];
    remarks.update(said);
    say(noRemark, said.length ? "" : "None: nothing stood out.");
    draw();
  }
  return { el, update };
}
