// The page: its head, the strip, one step at a time, and the address that leads there.

import { head } from "./head.js";
import { close, open, state, tell, watch } from "./job.js";
import { leading } from "./lead.js";
import { apply, onView } from "./parts/view.js";
import { problems } from "./problems.js";
import { start } from "./start.js";
import { strip, STEPS } from "./strip.js";
import { afterStep } from "./steps/after.js";
import { filesStep } from "./steps/files.js";
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
let here = { id: null, step: null };

/** `?job=ID#step`; without a job, the list of jobs. */
function whereabouts() {
  const id = new URLSearchParams(location.search).get("job");
  const wanted = location.hash.slice(1);
  return { id, step: STEPS.some(({ step }) => step === wanted) ? wanted : "frame" };
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
  const another = next.id !== here.id;
  const otherStep = another || next.step !== here.step;
  here = next;
  if (another) {
    made.clear();
    close();
    main.replaceChildren();
    if (next.id) await open(next.id).then(() => resumeUploads(next.id), problems.report);
  }
  if (next.id !== here.id) return;
  if (!next.id) main.replaceChildren(start(problems.report));
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
  const { id, step } = here;
  const inJob = Boolean(id && state.revision);
  document.title = inJob ? `${state.job.part?.name ?? "part"} – Snugline` : "Snugline";
  head.update(inJob);
  strip.update(inJob, step);
  leading.update(inJob, step);
  foot.update(inJob, step);
  problems.update();
  if (inJob) made.get(step)?.update(state);
}

apply();
document.querySelector("header").append(...head.children);
document.querySelector("nav").append(strip.el);
document.querySelector("main").before(leading.el);
document.querySelector("footer").append(...foot.children);
watch(update);
onView(() => {
  if (!here.id) main.replaceChildren(start(problems.report));
  tell();
});
arrive(false);
