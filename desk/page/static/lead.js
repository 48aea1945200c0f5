// What to do next: one sentence and one button, as the server decides them, and the work in hand.

import { address, commit, state } from "./job.js";
import { h, mark, say } from "./parts/dom.js";
import { sentence, told } from "./parts/notices.js";
import { problems } from "./problems.js";
import { ask } from "./server.js";
import { stepAddress, stepAfter } from "./strip.js";

const says = h("p.says", { role: "status" });
const link = h("a.button.main");
const button = h("button.main", { type: "button", onclick: () => act().catch(problems.report) });
const bar = h("progress", { "aria-label": "Work in hand" });
const doing = h("span.doing");
const work = h("p.work", bar, doing);

const el = h("section.lead", { "aria-label": "What to do next", hidden: true }, says, work, link, button);

/** Take the server's offer: it is a change like any other, and can be taken back. */
async function act() {
  const { act: what, changes = [], button: label } = state.lead;
  if (what === "finish") {
    await ask("POST", address("finish"));
    return;
  }
  const edits = changes.map(({ path, now }) => [path, now]);
  await commit(label.toLowerCase(), edits);
}

function showWork(now) {
  mark(work, "hidden", now ? null : true);
  if (!now) return;
  mark(bar, "max", now.of);
  // Without a count it only runs.
  mark(bar, "value", now.of > 1 ? now.done : null);
  say(doing, `${sentence(now.doing).slice(0, -1)}, about ${now.seconds} s`);
}

export const leading = {
  el,
  update(inJob, step) {
    const lead = inJob ? state.lead : null;
    el.hidden = !lead;
    if (!lead) return;
    say(says, told(lead));
    const goes = lead.act === "go";
    mark(link, "hidden", goes && lead.step !== step ? null : true);
    // On a phone the foot is just below, and its button leads there too.
    mark(link, "data-in-foot", stepAfter(step)?.step === lead.step ? "" : null);
    // Where the step has that button itself, one is enough.
    const here = lead.act === "finish" && lead.step === step;
    // While the work that a change began is done, its button keeps its room, so that nothing moves.
    const rests = lead.act === "wait" && !button.hidden;
    mark(button, "data-rests", rests ? "" : null);
    mark(button, "hidden", goes || here || (lead.act === "wait" && !rests) ? true : null);
    link.href = stepAddress(lead.step);
    say(link, lead.button);
    if (!rests) say(button, lead.button);
    showWork(state.work);
  },
};
