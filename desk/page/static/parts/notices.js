// Remarks of the measurement: a sign, a word, what was noticed, and what to do.

import { h, keyed, say } from "./dom.js";
import { inUnit } from "./lengths.js";
import { changingSign, SEVERITY } from "./marks.js";

const ORDER = { fault: 0, retake: 0, usable: 1, fine: 2 };
export const SIGNS = { fault: "usable", retake: "retake", usable: "usable", fine: "fine" };
const PLAN_WORDS = { fine: "Tip", usable: "Check", retake: "Cannot be cut like this", fault: "Fix" };

/** Gravest first. */
export const byGravity = (notices) => [...notices].sort((a, b) => ORDER[a.severity] - ORDER[b.severity]);

/** A sentence with its capital and its full stop. */
export function sentence(text) {
  if (!text) return "";
  const [first] = text.split(" ", 1);
  const start = /^[a-z]+:?$/.test(first) ? text[0].toUpperCase() + text.slice(1) : text;
  return /[.!?]$/.test(start) ? start : `${start}.`;
}

/** One remark as `{ el, update(notice) }`; `words` name the severities. */
export function notice(words = SEVERITY, tag = "li") {
  const sign = changingSign("fine");
  const word = h("strong");
  const text = h("span.text");
  const mend = h("span.mend");
  const el = h(`${tag}.notice`, sign.el, h("p", word, " ", text, " ", mend));
  return {
    el,
    update(given) {
      sign.set(SIGNS[given.severity]);
      el.dataset.severity = given.severity;
      say(word, `${given.number ? `${given.number}. ` : ""}${words[given.severity]}:`);
      const place = given.where && !given.text.startsWith(given.where) ? `${given.where}: ` : "";
      say(text, inUnit(sentence(place + given.text)));
      say(mend, inUnit(sentence(given.mend)));
    },
  };
}

/** A list of remarks as `{ el, update(notices) }`. */
export function noticeList({ words = SEVERITY, label } = {}) {
  const el = h("ul.notices", { "aria-label": label });
  const update = keyed(
    el,
    (given) => `${given.code}|${given.where ?? ""}|${given.text}`,
    () => notice(words),
  );
  return { el, update: (notices) => update(byGravity(notices)) };
}

export const planNoticeList = (label) => noticeList({ words: PLAN_WORDS, label });
