// Remarks of the measurement: a sign, a word, what was noticed, and what to do.

import { h, keyed, say } from "./dom.js";
import { changingSign } from "./marks.js";
import { sentenceIn, sentencesIn } from "./quantities.js";
import { view } from "./view.js";

// Of photos and readings; of a plan; of a value of the job.
const KINDS = {
  retake: { gravity: 2, sign: "retake", word: "Retake" },
  usable: { gravity: 1, sign: "usable", word: "Check" },
  fine: { gravity: 0, sign: "fine", word: "Tip" },
  "cannot be cut": { gravity: 2, sign: "retake", word: "Cannot be cut like this" },
  check: { gravity: 1, sign: "usable", word: "Check" },
  note: { gravity: 0, sign: "fine", word: "Tip" },
  fault: { gravity: 2, sign: "usable", word: "Fix" },
};

/** The sign of a remark's severity. */
export const signOf = ({ severity }) => KINDS[severity].sign;

/** Gravest first. */
export const byGravity = (notices) =>
  [...notices].sort((a, b) => KINDS[b.severity].gravity - KINDS[a.severity].gravity);

/** A sentence with its capital and its full stop. */
export function sentence(text) {
  if (!text) return "";
  const [first] = text.split(" ", 1);
  const start = /^[a-z]+:?$/.test(first) ? text[0].toUpperCase() + text.slice(1) : text;
  return /[.!?]$/.test(start) ? start : `${start}.`;
}

/** Text and remedy of a remark or an error as sentences, in the unit shown. */
export const sentences = (record) => sentencesIn(view.unit, record).map(sentence);

/** A sentence of the server, in the unit shown. */
export const told = (record) => sentence(sentenceIn(view.unit, record));

/** What is wrong and what to do, in one text; "" without an error. */
export const errorWords = (error) => (error ? sentences(error).filter(Boolean).join(" ") : "");

/** One remark as `{ el, update(notice) }`. */
export function notice(tag = "li") {
  const sign = changingSign("fine");
  const word = h("strong");
  const text = h("span.text");
  const mend = h("span.mend");
  const el = h(`${tag}.notice`, sign.el, h("p", word, " ", text, " ", mend));
  return {
    el,
    update(given) {
      sign.set(signOf(given));
      el.dataset.severity = given.severity;
      say(word, `${given.number ? `${given.number}. ` : ""}${KINDS[given.severity].word}:`);
      const [says, remedy] = sentences(given);
      const where = given.where && !says.startsWith(given.where) ? `${given.where}: ` : "";
      say(text, where + says);
      say(mend, remedy);
    },
  };
}

/** A list of remarks as `{ el, update(notices) }`. */
export function noticeList(label) {
  const el = h("ul.notices", { "aria-label": label });
  const update = keyed(
    el,
    (given) => `${given.code}|${given.where ?? ""}|${given.text}`,
    () => notice(),
  );
  return { el, update: (notices) => update(byGravity(notices)) };
}
