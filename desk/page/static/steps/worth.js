// What one more observation would bring, the most first.

import { state } from "../job.js";
import { h, keyed, say } from "../parts/dom.js";
import { length } from "../parts/lengths.js";

const LISTED = 4;
const WORTH = 0.95; // of the U95 now; what leaves more is not worth the work

const NONE = "No further reading would help much.";
const LATER = "With an outline, this lists the readings and photos that would make it more certain, and by how much.";

const capital = (text) => text[0].toUpperCase() + text.slice(1);

/** Those gains that are worth the work. */
export const worthwhile = (gains) => gains.filter(({ u95, then }) => then <= WORTH * u95).slice(0, LISTED);

function row() {
  const [by, brings] = [h("strong"), h("span.soft")];
  return {
    el: h("li.gain", by, brings),
    update(gain) {
      say(by, capital(gain.by));
      say(brings, `${gain.of}: ± ${length(gain.u95)} → ± ${length(gain.then)}`);
    },
  };
}

export function worth() {
  const rows = h("ul.stack");
  const none = h("p.soft");
  const list = keyed(rows, ({ of, by }) => `${of}|${by}`, row);
  const title = "Worth reading next";
  return {
    el: h("section.card.worth", { "aria-label": title }, h("h3", title), rows, none),
    update() {
      const gains = worthwhile(state.outline?.gains ?? []);
      list(gains);
      none.hidden = gains.length > 0;
      say(none, state.outline ? NONE : LATER);
    },
  };
}
