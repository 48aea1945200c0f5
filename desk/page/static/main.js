// The page: its head, the strip, one step at a time, and the address that leads there.

import { head } from "./head.js";
import { close, open, state, tell, watch } from "./job.js";
import { leading } from "./lead.js";
import { apply, onView } from "./parts/view.js";
import { problems } from "./problems.js";
import { proveView } from "./prove/prove.js";
import { start } from "./start.js";
import { strip, STEPS } from "./strip.js";
import { afterStep } from "./steps/after.js";
import { filesStep } from "./steps/files.js";
import { componentsView } from "./components.js";
import { foot } from "./foot.js";
import { frameStep } from "./steps/frame.js";
import { outlineStep } from "./steps/outline.js";
import { photosStep } from "./steps/photos.js";
import { pocketStep } from "./steps/pocket.js";
import { resumeUploads } from "./uploads.js";
import { readingsStep } from "./steps/readings.js";

const MAKE = {
  frame: frameStep,
  photos: photosStep,
  readings: readingsStep,
  outline: outlineStep,
  pocket: pocketStep,
  files: filesStep,
  fit: afterStep,
};

const main = document.querySelector("main");
const made = new Map();
let here = { id: null, step: null, page: null };

// Pages that belong to no job, by `?page=`.
const PAGES = { prove: ["Test phone and print", proveView], components: ["Components", componentsView] };

/** `?job=ID#step`, or `?page=NAME`; without either, the list of jobs. */
function whereabouts() {
  const asked = new URLSearchParams(location.search);
  const [id, page] = [asked.get("job"), asked.get("page")];
  const wanted = location.hash.slice(1);
  const step = STEPS.some(({ step: one }) => one === wanted) ? wanted : "frame";
  return { id, step, page: !id && Object.hasOwn(PAGES, page ?? "") ? page : null };
}

/** Links within the page change the address without loading it again. */
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href]");
  if (!link || event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey || link.target) return;
  const to = new URL(link.href);
  if (to.origin !== location.origin || to.pathname !== "/" || to.hash === "#main") return;
  event.preventDefault();
  history.pushState(null, "", to);
  arrive(true);
});
addEventListener("popstate", () => arrive(true));

async function arrive(moved) {
  const next = whereabouts();
  const another = next.id !== here.id || next.page !== here.page;
  const otherStep = another || next.step !== here.step;
  here = next;
  if (another) {
    made.clear();
    close();
    main.replaceChildren();
    if (next.id) await open(next.id).then(() => resumeUploads(next.id), problems.report);
  }
  if (next.id !== here.id) return;
  if (next.page) {
    if (!made.has(next.page)) made.set(next.page, PAGES[next.page][1](problems.report));
    main.replaceChildren(made.get(next.page).el);
  } else if (!next.id) main.replaceChildren(start(problems.report));
  else if (state.revision) {
    if (!made.has(next.step)) made.set(next.step, MAKE[next.step]());
    if (otherStep) main.replaceChildren(made.get(next.step).el);
  } else main.replaceChildren(start(problems.report));
  if (otherStep && moved) {
    scrollTo({ top: 0 });
    (main.querySelector("h2") ?? main).focus({ preventScroll: true });
  }
  update();
}

function update() {
  const { id, step, page } = here;
  const inJob = Boolean(id && state.revision);
  const title = inJob ? (state.job.part?.name ?? "part") : page && PAGES[page][0];
  document.title = title ? `${title} – Snugline` : "Snugline";
  head.update(inJob);
  strip.update(inJob, step);
  leading.update(inJob, step);
  foot.update(inJob, step);
  problems.update();
  if (inJob) made.get(step)?.update(state);
  else if (page) made.get(page)?.update();
}

apply();
document.querySelector("header").append(...head.children);
document.querySelector("nav").append(strip.el);
document.querySelector("main").before(leading.el);
document.querySelector("footer").append(...foot.children);
watch(update);
onView(() => {
  if (!here.id && !here.page) main.replaceChildren(start(problems.report));
  tell();
});
arrive(false);
