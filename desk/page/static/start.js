// The first view: the jobs there are, and a new one.

import { h } from "./parts/dom.js";
import { errorWords } from "./parts/notices.js";
import { counted } from "./parts/quantities.js";
import { inPocket, laidPart, pictureRow, readPart } from "./pictures.js";
import { ask } from "./server.js";

const when = (seconds) =>
  new Date(seconds * 1000).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });

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
      const { id } = await ask("POST", "/api/jobs", { json: { name: name.value.trim() } });
      history.pushState(null, "", `/?job=${encodeURIComponent(id)}#frame`);
      dispatchEvent(new PopStateEvent("popstate"));
    } catch (refusal) {
      report(refusal);
    }
  });
  return form;
}

function jobCard({ id, name, photos, finished, changed, error }) {
  const about = error ? errorWords(error) : `${counted(photos, "photo")}, ${finished ? "files made" : "no files yet"}`;
  const href = `/?job=${encodeURIComponent(id)}#frame`;
  return h("a.card", { href }, h("strong", name), h("span.soft", about), h("span.soft", when(changed)));
}

export function start(report) {
  const jobs = h("div.jobs");
  const none = h("p.soft", "None yet. A job is one part: its photos, its readings, its pocket.");
  ask("GET", "/api/jobs")
    .then(({ jobs: found }) => jobs.replaceChildren(...(found.length ? found.map(jobCard) : [none])))
    .catch(report);
  const story = STORY.map(([make, words]) => [make(), words]);
  const title = h("h2", { tabindex: -1 }, "From photos to a pocket that fits");
  return h(
    "div.start",
    h("div.stack", title, newJob(report), pictureRow(...story)),
    h("section.stack", { "aria-label": "Jobs" }, h("h3", "Jobs"), jobs),
  );
}
