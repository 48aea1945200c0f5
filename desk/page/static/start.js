// The first view: the jobs there are, and a new one.

import { h } from "./parts/dom.js";
import { counted } from "./parts/quantities.js";
import { ask } from "./server.js";

const when = (seconds) =>
  new Date(seconds * 1000).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });

const SAYS =
  "Print a sheet, lay the part on it, take photos, and type in what tape and caliper read. " +
  "You get the part's true outline, how far to trust it, and the files to cut its pocket.";

export function start(report) {
  const jobs = h("div.jobs");
  const name = h("input", {
    type: "text",
    id: "newname",
    autocomplete: "off",
    placeholder: "for example slate tray",
    required: true,
    maxlength: 80,
  });
  const form = h(
    "form",
    h("div.field", h("label", { for: "newname" }, "What is the part called?"), name),
    h("button.main", "New job"),
  );
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
  ask("GET", "/api/jobs")
    .then(({ jobs: found }) => {
      jobs.replaceChildren(
        ...found.map((job) =>
          h(
            "a.card",
            { href: `/?job=${encodeURIComponent(job.id)}#frame` },
            h("strong", job.name),
            h("span.soft", `${counted(job.photos, "photo")}, ${job.finished ? "files made" : "no files yet"}`),
            h("span.soft", when(job.changed)),
          ),
        ),
      );
      if (!found.length) {
        jobs.replaceChildren(h("p.soft", "None yet. A job is one part: its photos, its readings, its pocket."));
      }
    })
    .catch(report);
  return h(
    "div.start",
    h("div.stack", h("h2", { tabindex: -1 }, "From photos to a pocket that fits"), h("p", SAYS), form),
    h("section.stack", { "aria-label": "Jobs" }, h("h3", "Jobs"), jobs),
  );
}
