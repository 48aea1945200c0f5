// One photo: its picture with what was measured, its verdict with the one cause that matters, and the rest folded away.

import { closer } from "../closer.js";
import { contourOf, picture as pictureAt } from "../contours.js";
import { commit } from "../job.js";
import { overlay, photoImage } from "../overlay.js";
import { freshId, h, mark, s, say } from "../parts/dom.js";
import { keepSizes } from "../parts/drawn.js";
import { length } from "../parts/lengths.js";
import { changingSign, sign } from "../parts/marks.js";
import { byGravity, noticeList, sentences } from "../parts/notices.js";
import { problems } from "../problems.js";
import { previews, takeOut, turn, upload } from "../uploads.js";
import { filePicker } from "./file_picker.js";

const SHOWS = [
  "left end",
  "right end",
  "front left corner",
  "front right corner",
  "back right corner",
  "back left corner",
  "whole",
  "section",
];
const VERDICT = { fine: "Good", usable: "Could be better", retake: "Cannot be used: take it again" };
const THICKNESS = " (needs the thickness, step 3)";

/** Sign and words that say how far the photo is. */
function stateWords({ state, verdict, provisional }) {
  if (state === "waiting") return ["waiting", "Waiting"];
  if (state === "tracing") return ["working", "Being measured"];
  if (state === "refused") return ["retake", VERDICT.retake];
  return [verdict, VERDICT[verdict] + (provisional && verdict !== "retake" ? THICKNESS : "")];
}

/** The one cause that matters, and what to do about it. */
function causeWords({ state, error, notices }) {
  const worst = error ?? byGravity(notices ?? []).find(({ severity }) => severity !== "fine");
  if (!worst) return [state === "done" ? "Nothing to remark." : "This takes a few seconds."];
  const [says, remedy] = sentences(worst);
  return [h("span", `Reason${worst.number ? ` ${worst.number}` : ""}: ${says} `), h("span.mend", remedy)];
}

const factWords = (facts) =>
  [
    `${facts.markers_found} of ${facts.markers_total} markers found`,
    `hold-out error ${length(facts.holdout_mm, 3)} (markers kept back as a check)`,
    `camera tilted ${Math.round(facts.tilt_deg)}°`,
    `one pixel is ${length(facts.mm_per_px, 3)}.`,
  ].join("; ");

/** The photo with what was measured drawn on it; a press looks closer. */
function picture() {
  let photo = null;
  let drawn = null;
  let drawnContour = null;
  const stage = s("svg.still", { role: "img" });
  const quick = h("img.quick", { alt: "" }); // until the measured one is there
  quick.addEventListener("error", () => mark(quick, "hidden", true));
  const el = h("button.pictured", { type: "button", onclick: () => photo.width && closer(photo) }, quick, stage);
  new ResizeObserver(() => keepSizes(stage)).observe(stage);

  function draw() {
    if (!photo.width) {
      mark(quick, "src", previews.get(photo.id) ?? pictureAt(photo, 480));
      return;
    }
    const contour = contourOf(photo);
    const now = `${photo.file}|${photo.turn}|${photo.key}|${photo.notices?.length}`;
    if (now === drawn && contour === drawnContour) return;
    [drawn, drawnContour] = [now, contour];
    stage.setAttribute("viewBox", `-0.5 -0.5 ${photo.width} ${photo.height}`);
    const image = photoImage(photo, 1600);
    image.addEventListener("load", () => quick.remove(), { once: true });
    stage.replaceChildren(image, ...overlay(photo, contour));
    keepSizes(stage);
  }
  return {
    el,
    update(next) {
      photo = next;
      mark(el, "aria-label", `Look closer at ${photo.file}`);
      mark(stage, "aria-label", `${photo.file} with what was measured drawn on it`);
      draw();
    },
  };
}

/** All remarks and the figures, folded away. */
function remarks() {
  const list = noticeList("Remarks on this photo");
  const title = h("summary");
  const facts = h("p.soft.facts");
  const el = h("details", title, h("div.stack", list.el, facts));
  return {
    el,
    update(photo) {
      const notices = byGravity(photo.notices ?? []);
      list.update(notices);
      say(title, notices.length ? `All remarks (${notices.length}) and figures` : "Figures");
      mark(el, "hidden", photo.facts ? null : true);
      if (photo.facts) say(facts, factWords(photo.facts));
    },
  };
}

function showsField(photo) {
  const id = freshId("shows");
  const words = SHOWS.map((word) => h("option", word));
  const input = h("select", { id }, words);
  const change = () => commit("what the photo shows", [[["photo", photo().index, "shows"], input.value]]);
  input.addEventListener("change", change);
  return {
    el: h("div.field", h("label", { for: id }, "Shows the"), input),
    update() {
      if (document.activeElement !== input) input.value = photo().shows;
    },
  };
}

export function photoCard(first) {
  let photo = first;
  const shown = picture();
  const stateSign = changingSign("waiting");
  const stateWord = h("strong");
  const cause = h("p.because");
  const verdict = h("div.verdict", { role: "group" }, h("p.stateline", stateSign.el, stateWord), cause);
  const shows = showsField(() => photo);
  const rest = remarks();
  const tell = (promise) => promise.catch(problems.report);
  const button = (name, words, act) =>
    h("button", { type: "button", onclick: () => tell(act(photo)) }, sign(name), words);
  const replace = filePicker("Replace", "swap", {}, (files) => upload(files.slice(0, 1), photo), "button");
  const acts = h("div.row", replace, button("turn", "Rotate", turn), button("away", "Remove", takeOut));
  const el = h("li.card.photo", shown.el, verdict, shows.el, acts, rest.el);
  return {
    el,
    update(next) {
      photo = next;
      const [signName, words] = stateWords(photo);
      stateSign.set(signName);
      say(stateWord, words);
      mark(el, "aria-label", `${photo.file}: ${words}`);
      mark(verdict, "aria-label", `State of ${photo.file}`);
      cause.replaceChildren(...causeWords(photo));
      shows.update();
      rest.update(photo);
      shown.update(photo);
    },
  };
}
