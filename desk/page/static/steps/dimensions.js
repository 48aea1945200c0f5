// Sizes with their U95, corners with their ranking, and the likely drawn sizes, offered.

import { commit, state, value } from "../job.js";
import { h, keyed, mark, say } from "../parts/dom.js";
import { inUnit, length } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";

const HELD = { length: "length", width: "width", "corner radius": "corner_radius" }; // keys of part.drawn
const SHOWN = 3;

/** Rows of the table: length, width, each corner size once for all corners that share it. */
function rows(outline) {
  const found = [
    { of: "Length", size: outline.length, note: from(outline.length) },
    { of: "Width", size: outline.width, note: from(outline.width) },
  ];
  if (outline.thickness) found.push({ of: "Thickness", size: outline.thickness, note: from(outline.thickness) });
  const alike = new Map();
  for (const corner of outline.corners) {
    for (const [name, size] of Object.entries(corner.sizes)) {
      const key = `${name}|${size.value}|${size.u95}`;
      if (!alike.has(key)) alike.set(key, { name, size, family: corner.family, places: [], unseen: [] });
      alike.get(key).places.push(corner.at);
      if (!corner.seen) alike.get(key).unseen.push(corner.at);
    }
  }
  for (const { name, size, family, places, unseen } of alike.values()) {
    const where = places.length === outline.corners.length && places.length > 1 ? "all corners" : places.join(", ");
    found.push({
      of: `Corner ${name}`,
      size,
      note: `${family}, ${where}${unseen.length ? `; not seen: ${unseen.join(", ")}` : ""}`,
      plain: name === "exponent",
    });
  }
  for (const [name, size] of Object.entries(outline.extras ?? {})) {
    found.push({ of: name, size, note: "", plain: !name.startsWith("sag") });
  }
  return found;
}

const from = (size) => (size.from?.length ? `from ${size.from.join(", ")}` : "");
const shown = (mm, plain, decimals = 2) => (plain ? mm.toFixed(3) : length(mm, decimals));

function row() {
  const of = h("span");
  const note = h("span.soft.note");
  const value = h("td.number");
  const u95 = h("td.number");
  return {
    el: h("tr", {}, h("td", {}, of, note), value, u95),
    update(item) {
      say(of, item.of);
      say(note, item.note);
      say(value, shown(item.size.value, item.plain));
      say(u95, item.size.u95 > 0 ? `± ${shown(item.size.u95, item.plain)}` : "not known");
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
        el: h("li", {}, name, h("span.barbox", { "aria-hidden": "true" }, bar), share),
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

/** The likely drawn sizes of one dimension, each to accept; an accepted one to let go. */
function nominal() {
  const of = h("strong");
  const note = h("p.soft");
  const row = h("div.row");
  const items = keyed(
    row,
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
          button.replaceChildren(...(taken ? [sign("done")] : []), `${label}, ${Math.round(100 * item[2])} %`);
        },
      };
    },
  );
  return {
    el: h("li.stack.nominal", {}, of, row, note),
    update(entry) {
      say(of, entry.of[0].toUpperCase() + entry.of.slice(1));
      row.hidden = !(entry.of in HELD);
      items(entry.candidates.slice(0, SHOWN).map((candidate) => Object.assign([...candidate], { of: entry.of })));
      say(
        note,
        !(entry.of in HELD)
          ? inUnit(
              entry.candidates
                .slice(0, SHOWN)
                .map(([label, , weight]) => `${label} (${Math.round(100 * weight)} %)`)
                .join(", "),
            )
          : held(entry.of)
            ? "Accepted: the outline holds this size. Tap it again to let it go."
            : `None of them: ${Math.round(100 * entry.none)} %.`,
      );
    },
  };
}

function accept(of, label) {
  const takes = held(of) !== label;
  commit(takes ? `${of} taken as drawn` : `drawn ${of} let go`, [[["part", "drawn", HELD[of]], takes ? label : null]]);
}

export function dimensions() {
  const body = h("tbody");
  const sizes = keyed(body, ({ of, note }) => `${of}|${note}`, row);
  const table = h(
    "table",
    {},
    h("thead", {}, h("tr", {}, h("th", {}, "Size"), h("th.number", {}, "measured"), h("th.number", {}, "U95"))),
    body,
  );
  const shares = ranking();
  const offers = h("ul.stack");
  const offered = keyed(offers, ({ of }) => of, nominal);
  const none = h(
    "p.soft",
    {},
    "Sizes appear here with the half width of the interval that holds each with 95 % probability.",
  );
  return {
    el: h(
      "div.stack",
      {},
      h("section.card.sizes", { "aria-label": "Sizes" }, none, table),
      h("section.card.shape", { "aria-label": "Corner shape" }, h("h3", {}, "Shape of the corners"), shares.el),
      h(
        "section.card.drawn",
        { "aria-label": "Likely drawn sizes" },
        h("h3", {}, "Likely drawn sizes"),
        h("p.soft", {}, "Only offered. Leave them, and the files hold what was measured."),
        offers,
      ),
    ),
    update() {
      const { outline } = state;
      table.hidden = !outline;
      none.hidden = Boolean(outline);
      sizes(outline ? rows(outline) : []);
      shares.update(outline?.corners.find(({ ranking: list }) => list?.length));
      offered((outline?.nominal ?? []).filter(({ candidates }) => candidates.length));
    },
  };
}
