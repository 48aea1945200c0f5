// Files: made by the same code as the command line's, each to look at and to take along.

import { address, state } from "../job.js";
import { h, keyed, mark, say } from "../parts/dom.js";
import { choiceField } from "../parts/fields.js";
import { changingSign, sign } from "../parts/marks.js";
import { sentence } from "../parts/notices.js";
import { problems } from "../problems.js";
import { ask } from "../server.js";
import { stepTop } from "./top.js";

const SETS = [
  ["To cut", (stem) => /-(pocket|coupons|layout|template|width-slips)-/.test(stem)],
  ["The part's outline", (stem) => stem === "outline"],
  ["To print and keep", (stem) => /^outline-tiled|shop-sheet|^report$/.test(stem)],
  ["The photos, with what was measured", (stem) => stem.startsWith("overlay-")],
  ["All the rest", () => true],
];
const FORMATS = ["svg", "dxf", "pdf", "png", "html", "json", "zip"];
const STATES = {
  missing: ["missing", "Not made yet"],
  writing: ["working", "Being made"],
  ready: ["done", "Ready"],
  refused: ["retake", "Refused"],
};

const file = (name, show = false) => address(`files/${encodeURIComponent(name)}${show ? "?show=1" : ""}`);
const size = (bytes) => (bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${(bytes / 1e6).toFixed(1)} MB`);
/** One drawing in all its formats: its picture, its name, and a button for each. */
function drawing() {
  const picture = h("img", { alt: "", loading: "lazy", width: 132, height: 88 });
  const name = h("strong");
  const formats = h("div.formats");
  const buttons = keyed(
    formats,
    (one) => one.name,
    (one) => {
      const ending = one.name.split(".").at(-1).toUpperCase();
      const el = h(
        "a.button",
        { download: "", href: file(one.name), "aria-label": `Download ${one.name}` },
        sign("out"),
        ending,
      );
      return { el, update: (now) => mark(el, "title", `${now.name}, ${size(now.bytes)}`) };
    },
  );
  const look = h("a.button", { target: "_blank", rel: "noopener" }, "Look");
  return {
    el: h("li.file", {}, h("div.thumb", {}, picture), h("div.filename", {}, name, h("div.row", {}, look, formats))),
    update({ stem, files }) {
      say(name, stem);
      const made = state.files.made ?? 0;
      const shown =
        files.find((one) => one.preview && /\.(png|svg|jpg)$/.test(one.name) && !one.name.endsWith(".svg")) ??
        files.find((one) => one.name.endsWith(".svg"));
      picture.hidden = !shown;
      if (shown) mark(picture, "src", `${file(shown.name, true)}&k=${made}`);
      const seen = files.find((one) => one.preview && one.name.endsWith(".pdf")) ?? files.find((one) => one.preview);
      look.hidden = !seen;
      if (seen) {
        look.href = file(seen.name, true);
        mark(look, "aria-label", `Look at ${stem}`);
      }
      buttons(files);
    },
  };
}

function set() {
  const title = h("h3");
  const list = h("ul.files");
  const rows = keyed(list, ({ stem }) => stem, drawing);
  return {
    el: h("section.card", {}, title, list),
    update(given) {
      say(title, given.title);
      rows(given.drawings);
    },
  };
}

/** The files by drawing, and the drawings by what they are for; pockets before their test cuts. */
function sorted(list) {
  const stems = new Map();
  for (const one of list) {
    const stem = one.name.replace(/\.[a-z]+$/i, "");
    stems.set(stem, [...(stems.get(stem) ?? []), one]);
  }
  const place = ({ name }) => FORMATS.indexOf(name.split(".").at(-1));
  const left = new Set([...stems].map(([stem, files]) => ({ stem, files: files.sort((a, b) => place(a) - place(b)) })));
  return SETS.map(([title, belongs]) => {
    const drawings = [...left].filter(({ stem }) => belongs(stem));
    drawings.forEach((one) => left.delete(one));
    drawings.sort((a, b) => /-pocket-/.test(b.stem) - /-pocket-/.test(a.stem));
    return { title, drawings };
  }).filter(({ drawings }) => drawings.length);
}

export function filesStep() {
  const units = choiceField({
    label: "Files are written in",
    path: () => ["output", "units"],
    options: [
      [null, "millimetres"],
      ["in", "inches"],
    ],
    name: "unit of the files",
  });
  const paper = choiceField({
    label: "Prints are tiled over",
    path: () => ["output", "paper"],
    options: [
      [null, "A4"],
      ["letter", "Letter"],
    ],
    name: "paper",
  });
  const dxf = choiceField({
    label: "DXF",
    path: () => ["output", "dxf"],
    options: [
      [null, "R2010"],
      ["R12", "R12, for old programs"],
    ],
  });
  const stateSign = changingSign("missing");
  const stateWord = h("strong");
  const detail = h("span.soft");
  const bar = h("progress", { "aria-label": "Making the files" });
  const make = h("button.main.big", { type: "button" }, "Make the files");
  make.addEventListener("click", () => ask("POST", address("finish")).catch(problems.report));
  const link = (signName, text, props = {}) => h("a.button", { ...props }, sign(signName), text);
  const zip = link("out", "Download all", { download: "" });
  const template = link("paper", "Print the template, 1:1", { target: "_blank", rel: "noopener" });
  const shop = link("paper", "Shop sheet", { target: "_blank", rel: "noopener" });
  const report = link("paper", "Report", { target: "_blank", rel: "noopener" });
  const sets = h("div.stack");
  const shown = keyed(sets, ({ title }) => title, set);
  const top = stepTop(
    "files",
    "Files",
    "The drawings at true size for any CAM program, the template to lay on the part, the sheet for the machine.",
  );
  const el = h(
    "div",
    {},
    top.el,
    h(
      "div.two",
      {},
      h(
        "div.stack",
        {},
        h(
          "section.card.stack",
          { "aria-label": "Make the files" },
          h("div.fields", {}, units.el, paper.el, dxf.el),
          make,
          h("div.making", {}, h("p.stateline", {}, stateSign.el, stateWord), h("p", {}, detail), bar),
        ),
        h(
          "section.card.stack",
          { "aria-label": "Take along" },
          zip,
          template,
          shop,
          report,
          h(
            "p.soft",
            {},
            "Print the template at actual size, join it at its crosses, and lay the part on it before the good board is cut.",
          ),
        ),
      ),
      sets,
    ),
  );

  function update() {
    top.update();
    [units, paper, dxf].forEach((field) => field.update());
    if (units.input.value === "mm") units.input.value = "";
    const { state: word, stale, step, error, list } = state.files;
    const [signName, text] = STATES[word] ?? STATES.missing;
    stateSign.set(word === "ready" && stale ? "usable" : signName);
    say(stateWord, word === "ready" && stale ? "Older than the job: make them again" : text);
    say(
      detail,
      error
        ? `${sentence(error.what)} ${sentence(error.mend)}`
        : word === "writing"
          ? (step ?? "")
          : word === "ready"
            ? `${list.length} files, in the job's folder ${state.files.folder}`
            : "They are made in the job's folder, just as the command line makes them.",
    );
    bar.classList.toggle("idle", word !== "writing");
    mark(bar, "aria-hidden", word === "writing" ? null : "true");
    mark(make, "disabled", word === "writing" ? true : null);
    const named = (part) => list.find(({ name }) => name.includes(part))?.name;
    const offer = (anchor, href) => {
      mark(anchor, "href", href);
      mark(anchor, "aria-disabled", href ? null : "true");
    };
    const shows = (name) => (name ? file(name, true) : null);
    offer(zip, list.length ? address("files.zip") : null);
    offer(template, shows(named("outline-tiled")));
    offer(shop, shows(named("shop-sheet")));
    offer(report, shows(named("report.html")));
    shown(sorted(list));
  }
  return { el, update };
}
