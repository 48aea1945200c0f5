// The jobs there are: each with its first photo, to be opened, renamed, copied, handed on or put into the bin.

import { freshId, h } from "./parts/dom.js";
import { nameForm } from "./parts/name_form.js";
import { errorWords } from "./parts/notices.js";
import { counted } from "./parts/quantities.js";
import { ask, send } from "./server.js";

const when = (seconds) =>
  new Date(seconds * 1000).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
const base = (id) => `/api/jobs/${encodeURIComponent(id)}`;

/** Go to a job as a link would. */
export function openJob(id) {
  history.pushState(null, "", `/?job=${encodeURIComponent(id)}#frame`);
  dispatchEvent(new PopStateEvent("popstate"));
}

function thumbnail({ id, photos }) {
  const image = h("img", { src: photos ? `${base(id)}/thumbnail` : null, alt: "", loading: "lazy" });
  image.addEventListener("error", () => image.remove());
  return h("div.thumb", photos ? image : null);
}

function card(job, { again, report }) {
  const { id, name, photos, finished, changed, error } = job;
  const about = error ? errorWords(error) : `${counted(photos, "photo")}, ${finished ? "files made" : "no files yet"}`;
  const href = `/?job=${encodeURIComponent(id)}#frame`;
  const words = h("div.stack", h("strong", name), h("span.soft", about), h("span.soft", when(changed)));
  const asking = h("div");
  const done = () => asking.replaceChildren();
  const tell = (promise) => promise.then(again).catch(report);
  const askName = (label, start, method, rest) => () =>
    asking.replaceChildren(
      nameForm(label, start, (typed) => tell(ask(method, `${base(id)}/${rest}`, { json: { name: typed } })), done),
    );
  const button = (text, act) => h("button", { type: "button", "aria-label": `${text}: ${name}`, onclick: act }, text);
  const acts = [
    button("Rename", askName("New name", name, "PUT", "name")),
    button("Copy", askName("Name of the copy", `${name}, copy`, "POST", "copy")),
    h("a.button", { href: `${base(id)}/job.zip`, download: "", "aria-label": `Save as zip: ${name}` }, "Save as zip"),
    button("Delete", () => tell(ask("DELETE", base(id)))),
  ];
  const more = h("details", h("summary", { "aria-label": `More: ${name}` }, "More"), h("div.row", acts), asking);
  return h("article.card.job", h("a", { href }, thumbnail(job), words), more);
}

/** What was deleted, each to put back. */
function binRow({ again, report }) {
  const el = h("div.row");
  const back = (id) => () =>
    ask("POST", `/api/bin/${encodeURIComponent(id)}/restore`)
      .then(again)
      .catch(report);
  return {
    el,
    show(jobs) {
      const words = jobs.length ? [h("span.soft", "In the bin:")] : [];
      const buttons = jobs
        .slice(0, 5)
        .map(({ id, job }) => h("button", { type: "button", onclick: back(id) }, `Put ${job} back`));
      el.replaceChildren(...words, ...buttons);
    },
  };
}

/** The sample, and a job out of a zip. */
function otherWays(report) {
  const tried = () =>
    ask("POST", "/api/jobs/sample")
      .then(({ id }) => openJob(id))
      .catch(report);
  const sample = h("button", { type: "button", onclick: tried }, "Try the sample");
  const input = h("input", { type: "file", accept: ".zip,application/zip", hidden: true });
  const choose = h("button", { type: "button", onclick: () => input.click() }, "Open a zip");
  input.addEventListener("change", () => {
    const [file] = input.files;
    input.value = "";
    if (!file) return;
    send("POST", `/api/jobs/zip?name=${encodeURIComponent(file.name)}`, file, () => {})
      .then(({ id }) => openJob(id))
      .catch(report);
  });
  return h("div.row", sample, choose, input);
}

/** The list with its search, as an element. */
export function jobCards(report) {
  const list = h("div.jobs");
  const id = freshId("search");
  const search = h("input", { id, type: "search", autocomplete: "off" });
  const field = h("div.field", { hidden: true }, h("label", { for: id }, "Search"), search);
  const none = h("p.soft", "None yet. A job is one part: its photos, its readings, its pocket.");
  let found = [];
  const tools = { again, report };
  const bin = binRow(tools);

  function show() {
    const words = search.value.trim().toLowerCase();
    const fitting = found.filter(({ name }) => name.toLowerCase().includes(words));
    const nothing = found.length ? h("p.soft", "No job has that in its name.") : none;
    list.replaceChildren(...(fitting.length ? fitting.map((job) => card(job, tools)) : [nothing]));
    field.hidden = found.length < 2;
  }
  async function again() {
    const [{ jobs }, binned] = await Promise.all([ask("GET", "/api/jobs"), ask("GET", "/api/bin")]);
    found = jobs;
    show();
    bin.show(binned.jobs);
  }
  search.addEventListener("input", show);
  list.append(h("p.soft", "Looking for jobs …")); // as high as the answer of an empty shelf
  again().catch(report);
  return h("section.stack", { "aria-label": "Jobs" }, h("h3", "Jobs"), otherWays(report), field, list, bin.el);
}
