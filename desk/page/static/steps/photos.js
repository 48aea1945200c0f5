// Photos: dropped or taken, measured while one looks on, each with its verdict.

import { contourOf } from "../contours.js";
import { commit, state } from "../job.js";
import { closer } from "../closer.js";
import { overlay, photoImage, sizeNumbers } from "../overlay.js";
import { freshId, h, keyed, mark, s, say } from "../parts/dom.js";
import { inUnit, length } from "../parts/lengths.js";
import { changingSign, sign } from "../parts/marks.js";
import { byGravity, noticeList, sentence } from "../parts/notices.js";
import { problems } from "../problems.js";
import { forget, restore, retry, takeOut, turn, upload, uploads } from "../uploads.js";
import { stepTop } from "./top.js";

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
const VERDICT = { fine: "Fine", usable: "Usable", retake: "Take it again" };

/** One line that says where the photo stands. */
function stateWords(photo) {
  if (photo.state === "waiting") return ["waiting", "Waiting its turn"];
  if (photo.state === "tracing") return ["working", "Being measured"];
  if (photo.state === "refused") return ["retake", VERDICT.retake];
  return [photo.verdict, VERDICT[photo.verdict] + (photo.provisional ? ", once the thickness is given" : "")];
}

function filePicker(label, signName, props, take, kind = "button.big") {
  const input = h("input", { type: "file", accept: "image/*,.heic,.heif", hidden: true, ...props });
  input.addEventListener("change", () => {
    if (input.files.length) take([...input.files]);
    input.value = "";
  });
  const button = h(kind, { type: "button", onclick: () => input.click() }, sign(signName), label);
  return h("div.picker", {}, button, input);
}

function card(first) {
  let photo = first;
  const stage = s("svg.still", { role: "img" });
  const look = h("button.pictured", { type: "button", onclick: () => closer(photo) }, stage);
  const statesign = changingSign("waiting");
  const stateword = h("strong");
  const because = h("p.because");
  const rest = noticeList({ label: "Remarks on this photo" });
  const more = h("summary");
  const details = h("details", {}, more, h("div.stack", {}, rest.el, h("p.soft.facts")));
  const facts = details.querySelector(".facts");
  const id = freshId("shows");
  const shows = h(
    "select",
    { id },
    SHOWS.map((word) => h("option", {}, word)),
  );
  shows.addEventListener("change", () =>
    commit("what the photo shows", [[["photo", photo.index, "shows"], shows.value]]),
  );
  const tell = (promise) => promise.catch(problems.report);
  const replace = filePicker("Replace", "swap", {}, (files) => upload(files.slice(0, 1), photo), "button");
  const el = h(
    "li.card.photo",
    {},
    look,
    h("div.verdict", { tabindex: 0, role: "group" }, h("p.stateline", {}, statesign.el, stateword), because),
    h("div.field", {}, h("label", { for: id }, "Shows the"), shows),
    h(
      "div.row",
      {},
      replace,
      h("button", { type: "button", onclick: () => tell(turn(photo)) }, sign("turn"), "Turn"),
      h("button", { type: "button", onclick: () => tell(takeOut(photo)) }, sign("away"), "Take out"),
    ),
    details,
  );
  const sized = new ResizeObserver(() => sizeNumbers(stage));
  sized.observe(stage);
  let drawn = null;
  let drawnContour = null;

  function draw() {
    if (!photo.width) return;
    const contour = contourOf(photo);
    const now = `${photo.file}|${photo.turn}|${photo.key}|${photo.notices?.length}`;
    if (now === drawn && contour === drawnContour) return;
    drawn = now;
    drawnContour = contour;
    stage.setAttribute("viewBox", `-0.5 -0.5 ${photo.width} ${photo.height}`);
    stage.replaceChildren(photoImage(photo, 1600), ...overlay(photo, contour));
    sizeNumbers(stage);
  }

  return {
    el,
    update(next) {
      photo = next;
      const [signName, words] = stateWords(photo);
      statesign.set(signName);
      say(stateword, words);
      mark(el, "aria-label", `${photo.file}: ${words}`);
      mark(el.querySelector(".verdict"), "aria-label", `State of ${photo.file}`);
      mark(look, "aria-label", `Look closer at ${photo.file}`);
      mark(stage, "aria-label", `${photo.file} with what was measured drawn on it`);
      if (document.activeElement !== shows) shows.value = photo.shows;
      const sorted = byGravity(photo.notices ?? []);
      const worst = photo.error
        ? { text: photo.error.what, mend: photo.error.mend }
        : sorted.find(({ severity }) => severity !== "fine");
      because.replaceChildren(
        ...(worst
          ? [
              h("span", {}, `${worst.number ? `${worst.number}. ` : ""}Because: ${sentenceOf(worst.text)} `),
              h("span.mend", {}, sentenceOf(worst.mend ?? "")),
            ]
          : [photo.state === "done" ? "Nothing stood out." : "It takes a few seconds."]),
      );
      rest.update(sorted);
      say(more, sorted.length ? `All remarks (${sorted.length}) and figures` : "Figures");
      mark(details, "hidden", photo.facts ? null : true);
      if (photo.facts) {
        const f = photo.facts;
        say(
          facts,
          `${f.markers_found} of ${f.markers_total} markers; places kept back for checking are met within ${length(f.holdout_mm, 3)}; camera tilted by ${Math.round(f.tilt_deg)}°; one pixel is ${length(f.mm_per_px, 3)}.`,
        );
      }
      draw();
    },
  };
}

const sentenceOf = (text) => inUnit(sentence(text ?? ""));

function waiting(entry) {
  const bar = h("progress", { max: 1, "aria-label": `Sending ${entry.name}` });
  const words = h("p");
  const again = h("button", { type: "button", onclick: () => retry(entry) }, "Send again");
  return {
    el: h(
      "li.card.photo.sending",
      {},
      h("h3", {}, entry.name),
      bar,
      words,
      h("div.row", {}, again, h("button", { type: "button", onclick: () => forget(entry) }, "Leave it")),
    ),
    update() {
      bar.value = entry.share;
      bar.hidden = Boolean(entry.error);
      again.hidden = !entry.error;
      say(
        words,
        entry.error
          ? `${sentenceOf(entry.error.message)} ${sentenceOf(entry.error.mend)}`
          : `Sending, ${Math.round(entry.share * 100)} %`,
      );
    },
  };
}

export function photosStep() {
  const list = h("ol.photos");
  const cards = keyed(
    list,
    (item) => item.id ?? `sending ${item.key}`,
    (item) => (item.id ? card(item) : waiting(item)),
  );
  const empty = h(
    "p.soft.empty",
    {},
    "No photo yet. One of each end is enough, two are better. Stand so that the whole sheet is in the picture; no flash, light from the side.",
  );
  const gone = h("div.row");
  const add = h(
    "section.card.adding",
    { "aria-label": "Add photos" },
    filePicker("Take a photo", "camera", { capture: "environment" }, upload, "button.big.main"),
    filePicker("Choose photos", "plus", { multiple: true }, upload),
    h("p.soft.drophint", {}, "Or drop them anywhere on this page. HEIC, JPEG and PNG will do."),
  );
  const top = stepTop(
    "photos",
    "Photos",
    "Lay one end of the part on the window, underside down, and hold the phone nearly level above it.",
  );
  const el = h("div.dropping", {}, top.el, h("div.stack", {}, add, empty, list, gone));
  el.addEventListener("dragover", (event) => {
    event.preventDefault();
    el.classList.add("over");
  });
  el.addEventListener("dragleave", () => el.classList.remove("over"));
  el.addEventListener("drop", (event) => {
    event.preventDefault();
    el.classList.remove("over");
    upload([...event.dataTransfer.files]);
  });
  return {
    el,
    update() {
      top.update();
      const sending = uploads.filter(({ job }) => job === state.id);
      empty.hidden = state.photos.length + sending.length > 0;
      cards([...sending, ...state.photos]);
      gone.replaceChildren(
        ...(state.removed.length
          ? [
              h("span.soft", {}, "Taken out, still kept:"),
              ...state.removed.map((one) =>
                h(
                  "button",
                  { type: "button", onclick: () => restore(one.id).catch(problems.report) },
                  `Put ${one.file.replace(/^.*--/, "")} back`,
                ),
              ),
            ]
          : []),
      );
    },
  };
}
