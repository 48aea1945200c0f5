// Files: made by the same code as the command line's, each to look at and to download.

import { address, state } from "../job.js";
import { h, keyed, mark, say } from "../parts/dom.js";
import { choiceField } from "../parts/fields.js";
import { changingSign, sign } from "../parts/marks.js";
import { errorWords } from "../parts/notices.js";
import { counted } from "../parts/quantities.js";
import { problems } from "../problems.js";
import { ask } from "../server.js";
import { bytesWords, ending, fileSets, pictured, viewed } from "./file_sets.js";
import { stepTop } from "./top.js";

const STATES = {
  missing: ["missing", "Not made yet"],
  writing: ["working", "Being made"],
  ready: ["done", "Ready"],
  refused: ["retake", "Refused"],
};
const IN_TAB = { target: "_blank", rel: "noopener" };
const SAYS =
  "The drawings at true size for any CAM program, the template to lay on the part, the sheet for the machine.";
const TEMPLATE =
  "Print the template at actual size, join it at its crosses, and lay the part on it before the good board is cut.";

const file = (name, show = false) => address(`files/${encodeURIComponent(name)}${show ? "?show=1" : ""}`);

/** One drawing in all its formats: its picture, its name, and a button for each. */
function drawing() {
  const picture = h("img", { alt: "", loading: "lazy", width: 132, height: 88 });
  const name = h("strong");
  const formats = h("div.formats");
  const buttons = keyed(
    formats,
    (one) => one.name,
    (one) => {
      const props = { download: "", href: file(one.name), "aria-label": `Download ${one.name}` };
      const el = h("a.button", props, sign("out"), ending(one).toUpperCase());
      return { el, update: (now) => mark(el, "title", `${now.name}, ${bytesWords(now.bytes)}`) };
    },
  );
  const look = h("a.button", IN_TAB, "View");
  return {
    el: h("li.file", h("div.thumb", picture), h("div.filename", name, h("div.row", look, formats))),
    update({ stem, files }) {
      say(name, stem);
      const [small, large] = [pictured(files), viewed(files)];
      picture.hidden = !small;
      if (small) mark(picture, "src", `${file(small.name, true)}&k=${state.files.made ?? 0}`);
      look.hidden = !large;
      if (large) mark(look, "href", file(large.name, true));
      mark(look, "aria-label", `View ${stem}`);
      buttons(files);
    },
  };
}

function set() {
  const title = h("h3");
  const list = h("ul.files");
  const rows = keyed(list, ({ stem }) => stem, drawing);
  return {
    el: h("section.card", title, list),
    update(given) {
      say(title, given.title);
      rows(given.drawings);
    },
  };
}

/** What the files are like. */
function settings() {
  const path = (key) => () => ["output", key];
  const choices = {
    units: [
      "Files are written in",
      [
        [null, "millimetres"],
        ["in", "inches"],
      ],
      "unit of the files",
    ],
    paper: [
      "Paper for 1:1 prints",
      [
        [null, "A4"],
        ["letter", "Letter"],
      ],
      "paper",
    ],
    dxf: [
      "DXF",
      [
        [null, "R2010"],
        ["R12", "R12, for older CAM programs"],
      ],
      "DXF",
    ],
  };
  const fields = Object.entries(choices).map(([key, [label, options, name]]) =>
    choiceField({ label, path: path(key), options, name }),
  );
  const [units] = fields;
  return {
    el: h(
      "div.fields",
      fields.map(({ el }) => el),
    ),
    update() {
      fields.forEach((field) => field.update());
      if (units.input.value === "mm") units.input.value = "";
    },
  };
}

function detailWords({ state: word, step, error, list, folder }) {
  if (error) return errorWords(error);
  if (word === "writing") return step ?? "";
  if (state.barred) return `No drawings are made: ${errorWords(state.barred)}`;
  if (word === "ready") return `${counted(list.length, "file")}, in the job's folder ${folder}`;
  return "They are made in the job's folder, just as the command line makes them.";
}

/** The button that makes them, and how far that is. */
function making() {
  const stateSign = changingSign("missing");
  const [stateWord, detail] = [h("strong"), h("span.soft")];
  const bar = h("progress", { "aria-label": "Making the files" });
  const act = () => ask("POST", address("finish")).catch(problems.report);
  const make = h("button.main.big", { type: "button", onclick: act }, "Make the files");
  const words = h("div.making", h("p.stateline", stateSign.el, stateWord), h("p", detail), bar);
  return {
    els: [make, words],
    update() {
      const { state: word, stale } = state.files;
      const [signName, text] = STATES[word] ?? STATES.missing;
      const old = word === "ready" && stale;
      // The report tells what is wrong; nothing in it can be cut from.
      const made = word === "ready" && !stale;
      say(make, state.barred ? "Make the report only" : made ? "Make the files again" : "Make the files");
      make.classList.toggle("main", !made);
      stateSign.set(old ? "usable" : signName);
      say(stateWord, old ? "Older than the job: make them again" : text);
      say(detail, detailWords(state.files));
      bar.classList.toggle("idle", word !== "writing");
      mark(bar, "aria-hidden", word === "writing" ? null : "true");
      mark(make, "disabled", word === "writing" ? true : null);
    },
  };
}

/** What is downloaded and printed most. */
function downloads() {
  const link = (signName, text, props) => h("a.button", props, sign(signName), text);
  const zip = link("out", "Download all", { download: "" });
  const prints = [
    ["outline-tiled", link("paper", "Print the template, 1:1", IN_TAB)],
    ["shop-sheet", link("paper", "Shop sheet", IN_TAB)],
    ["report.html", link("paper", "Report", IN_TAB)],
  ];
  const offer = (anchor, href) => {
    mark(anchor, "href", href);
    mark(anchor, "aria-disabled", href ? null : "true");
  };
  const anchors = [zip, ...prints.map(([, anchor]) => anchor)];
  const title = { "aria-label": "Download and print" };
  return {
    el: h("section.card.stack", title, anchors, h("p.soft", TEMPLATE)),
    update() {
      const { list } = state.files;
      offer(zip, list.length ? address("files.zip") : null);
      for (const [part, anchor] of prints) {
        const name = list.find((one) => one.name.includes(part))?.name;
        offer(anchor, name ? file(name, true) : null);
      }
    },
  };
}

export function filesStep() {
  const chosen = settings();
  const made = making();
  const taken = downloads();
  const sets = h("div.stack");
  const shown = keyed(sets, ({ title }) => title, set);
  const top = stepTop("files", "Files", SAYS);
  const make = h("section.card.stack", { "aria-label": "Make the files" }, chosen.el, made.els);
  return {
    el: h("div", top.el, h("div.two", h("div.stack", make, taken.el), sets)),
    update() {
      [top, chosen, made, taken].forEach((one) => one.update());
      shown(fileSets(state.files.list));
    },
  };
}
