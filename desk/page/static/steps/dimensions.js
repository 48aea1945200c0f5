// Sizes with their U95, corners with their ranking, and the likely nominal sizes, offered.

import { commit, state, value } from "../job.js";
import { h, keyed, mark, say } from "../parts/dom.js";
import { sign } from "../parts/marks.js";
import { view } from "../parts/view.js";
import { rowWords, sizeRows } from "./size_rows.js";

const HELD = { length: "length", width: "width", "corner radius": "corner_radius" }; // keys of part.drawn
const SHOWN = 3;

/** A size and its fraction may stand on two lines, but neither breaks inside. */
function setPieces(cell, text) {
  if (cell.textContent === text) return;
  const pieces = text.split(" (").map((piece, i) => h("span.figure", i ? `(${piece}` : piece));
  cell.replaceChildren(...pieces.flatMap((piece, i) => (i ? [" ", piece] : [piece])));
}

function row() {
  const of = h("span");
  const note = h("span.soft.note");
  const measured = h("td.number");
  const u95 = h("span.figure");
  return {
    el: h("tr", h("td", of, note), measured, h("td.number", u95)),
    update(item) {
      say(of, item.of);
      say(note, item.note);
      const words = rowWords(view.unit, item);
      setPieces(measured, words.value);
      say(u95, words.u95);
    },
  };
}

/** Which corner shapes came into question, as bars with their share in words. */
function ranking() {
  const list = h("ul.ranking");
  const items = keyed(
    list,
    ([family]) => family,
    () => {
      const name = h("span");
      const bar = h("b");
      const share = h("span.figure");
      return {
        el: h("li", name, h("span.barbox", { "aria-hidden": "true" }, bar), share),
        update([family, weight]) {
          say(name, family);
          bar.style.width = `${Math.max(1, 100 * weight)}%`;
          say(share, weight < 0.01 ? "below 1 %" : `${Math.round(100 * weight)} %`);
        },
      };
    },
  );
  return { el: list, update: (corner) => items((corner?.ranking ?? []).slice(0, 4)) };
}

const held = (of) => value(["part", "drawn", HELD[of]]);

const percent = (weight) => `${Math.round(100 * weight)} %`;

function nominalNote({ of, candidates, none }) {
  if (!(of in HELD)) {
    const listed = candidates.slice(0, SHOWN);
    return listed.map(([label, , weight]) => `${label} (${percent(weight)})`).join(", ");
  }
  return held(of) ? "Accepted: the outline uses this size. Tap again to undo." : `None of them: ${percent(none)}.`;
}

/** The likely nominal sizes of one dimension, each to accept; an accepted one to undo. */
function nominal() {
  const of = h("strong");
  const note = h("p.soft");
  const choices = h("div.row");
  const items = keyed(
    choices,
    ([label]) => label,
    ([label]) => {
      const button = h("button", { type: "button" });
      let given = null;
      button.addEventListener("click", () => accept(given.of, label));
      return {
        el: button,
        update(item) {
          given = item;
          const taken = held(item.of) === label;
          mark(button, "aria-pressed", taken ? "true" : "false");
          button.replaceChildren(...(taken ? [sign("done")] : []), `${label}, ${percent(item[2])}`);
        },
      };
    },
  );
  return {
    el: h("li.stack.nominal", of, choices, note),
    update(entry) {
      say(of, entry.of[0].toUpperCase() + entry.of.slice(1));
      choices.hidden = !(entry.of in HELD);
      items(entry.candidates.slice(0, SHOWN).map((candidate) => Object.assign([...candidate], { of: entry.of })));
      say(note, nominalNote(entry));
    },
  };
}

function accept(of, label) {
  const takes = held(of) !== label;
  commit(takes ? `nominal ${of} accepted` : `nominal ${of} undone`, [
    [["part", "drawn", HELD[of]], takes ? label : null],
  ]);
}

export function dimensions() {
  const body = h("tbody");
  const sizes = keyed(body, ({ of, note }) => `${of}|${note}`, row);
  const table = h(
    "table",
    h("thead", h("tr", h("th", "Size"), h("th.number", "measured"), h("th.number", "U95"))),
    body,
  );
  const shares = ranking();
  const offers = h("ul.stack");
  const offered = keyed(offers, ({ of }) => of, nominal);
  const none = h(
    "p.soft",
    "Sizes appear here, each with how sure it is: the true size lies within ± U95 in 95 of 100 cases.",
  );
  return {
    el: h(
      "div.stack",
      h("section.card.sizes", { "aria-label": "Sizes" }, none, table),
      h("section.card.shape", { "aria-label": "Corner shape" }, h("h3", "Shape of the corners"), shares.el),
      h(
        "section.card.drawn",
        { "aria-label": "Likely nominal sizes" },
        h("h3", "Likely nominal sizes"),
        h(
          "p.soft",
          "Round sizes that the maker may have used. Tap one to use it; otherwise the files hold what was measured.",
        ),
        offers,
      ),
    ),
    update() {
      const shown = state.outlineState.state !== "refused" && state.outline?.has_sizes !== false;
      const outline = shown ? state.outline : null;
      table.hidden = !outline;
      none.hidden = Boolean(outline);
      sizes(outline ? sizeRows(outline) : []);
      shares.update(outline?.corners.find(({ ranking: list }) => list?.length));
      offered((outline?.nominal ?? []).filter(({ candidates }) => candidates.length));
    },
  };
}
