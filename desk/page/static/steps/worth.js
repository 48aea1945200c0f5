// What one more observation would bring, the most first.

import { state } from "../job.js";
import { h, keyed, say } from "../parts/dom.js";
import { length } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";
import { told } from "../parts/notices.js";
import { twoSheets } from "../pictures.js";
import { addSheet } from "./frame.js";

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

const LAY =
  "Print the sheet with the next number, tape both down, lay the part across them, and keep it there for all photos.";

/** A second sheet under the other end: what it would bring, and how to lay it. */
function secondSheet() {
  const says = h("p");
  const act = () => {
    addSheet();
    location.hash = "frame";
  };
  const button = h("button", { type: "button", onclick: act }, sign("plus"), "Add a second sheet");
  const el = h("div.stack.secondsheet", h("h4", "Length by photo"), says, twoSheets(), h("p.soft", LAY), button);
  return {
    el,
    update() {
      const offered = state.outline?.second_sheet;
      el.hidden = !offered;
      if (offered) say(says, told(offered.says));
    },
  };
}

export function worth() {
  const rows = h("ul.stack");
  const none = h("p.soft");
  const list = keyed(rows, ({ of, by }) => `${of}|${by}`, row);
  const title = "Worth reading next";
  const second = secondSheet();
  return {
    el: h("section.card.worth.stack", { "aria-label": title }, h("h3", title), rows, none, second.el),
    update() {
      second.update();
      const gains = worthwhile(state.outline?.gains ?? []);
      list(gains);
      none.hidden = gains.length > 0;
      say(none, state.outline ? NONE : LATER);
    },
  };
}
