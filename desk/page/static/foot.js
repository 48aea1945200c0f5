// The foot: the step before, the step after.

import { state } from "./job.js";
import { h, say } from "./parts/dom.js";
import { sign } from "./parts/marks.js";
import { stepAddress, stepAfter, stepBefore } from "./strip.js";

const before = h("span");
const after = h("span");
const back = h("a.button", sign("left"), before);
const on = h("a.button.main", after, sign("right"));
const now = h("span.now");

export const foot = {
  children: [back, now, on],
  update(inJob, current) {
    document.querySelector("footer").hidden = !inJob;
    if (!inJob) return;
    const [previous, next] = [stepBefore(current), stepAfter(current)];
    back.href = previous ? stepAddress(previous.step) : "/";
    say(before, previous ? previous.name : "All jobs");
    on.href = next ? stepAddress(next.step) : "/";
    say(after, next ? next.name : "All jobs");
    const { state: word, missing = [] } = state.steps.find(({ step }) => step === current) ?? {};
    say(now, missing.length ? `${word === "look" ? "To check" : "Still missing"}: ${missing.join("; ")}` : "");
  },
};
