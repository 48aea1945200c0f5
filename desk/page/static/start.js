// The first view: the jobs there are, and a new one.

import { jobCards, openJob } from "./job_cards.js";
import { h } from "./parts/dom.js";
import { inPocket, laidPart, pictureRow, readPart } from "./pictures.js";
import { view } from "./parts/view.js";
import { ask } from "./server.js";

const STORY = [
  [laidPart, "Lay the part on a printed sheet and photograph its ends."],
  [readPart, "Type in what tape and caliper read."],
  [inPocket, "Get its true outline, how far to trust it, and the files to cut its pocket."],
];

function newJob(report) {
  const props = { type: "text", id: "newname", autocomplete: "off", required: true, maxlength: 80 };
  const name = h("input", { ...props, placeholder: "for example slate tray" });
  const field = h("div.field", h("label", { for: "newname" }, "What is the part called?"), name);
  const form = h("form", field, h("button.main", "New job"));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    try {
      const { id } = await ask("POST", "/api/jobs", { json: { name: name.value.trim(), unit: view.unit } });
      openJob(id);
    } catch (refusal) {
      report(refusal);
    }
  });
  return form;
}

export function start(report) {
  const story = STORY.map(([make, words]) => [make(), words]);
  const title = h("h2", { tabindex: -1 }, "From photos to a pocket that fits");
  const test = h("a.button", { href: "/?page=prove" }, "Test phone and print");
  const why = "Something of published size, a card or a coin, tells how far phone, print and light can be trusted.";
  const prove = h("section.stack", { "aria-label": "Test" }, h("h3", "Is it right?"), h("p.soft", why), h("div", test));
  return h("div.start", h("div.stack", title, newJob(report), pictureRow(...story)), prove, jobCards(report));
}
