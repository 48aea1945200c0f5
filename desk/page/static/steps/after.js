// After the cut: one tap says how it fitted, and the next job's suggestion learns from it.

import { address, state, value } from "../job.js";
import { h, keyed, say } from "../parts/dom.js";
import { few } from "../parts/fields.js";
import { inUnit, length, parseLength } from "../parts/lengths.js";
import { sentence } from "../parts/notices.js";
import { problems } from "../problems.js";
import { ask } from "../server.js";
import { stepTop } from "./top.js";

const VERDICTS = [
  ["tight", "Tight", "goes in, but only pressed"],
  ["snug", "Snug", "drops in, no play to feel"],
  ["loose", "Loose", "there is play"],
  ["no-go", "Does not go in", ""],
];

const clearances = () => {
  const now = value(["pocket", "clearance"]);
  return Array.isArray(now) ? now : now === undefined ? [] : [now];
};

function row() {
  const words = h("span");
  const when = h("span.soft");
  return {
    el: h("li.row", {}, words, when),
    update(record) {
      const mm = typeof record.clearance === "number" ? record.clearance : parseLength(record.clearance ?? "");
      say(
        words,
        `${record.verdict}, gap ${mm === null ? record.clearance : length(mm)}, ${[record.wood, record.machine].filter(Boolean).join(", ")}`,
      );
      say(
        when,
        record.when
          ? new Date(typeof record.when === "number" ? record.when * 1000 : record.when).toLocaleDateString()
          : "",
      );
    },
  };
}

export function afterStep() {
  let chosen = null;
  let known = null;
  let asked = null;
  const gaps = h("div.gaps");
  let drawnGaps = "";
  let group = null;
  const input = (label, id, list) => {
    const field = h("input", { type: "text", id, autocomplete: "off", placeholder: "as you call it", list });
    return { field, el: h("div.field", {}, h("label", { for: id }, label), field) };
  };
  const wood = input("Wood", "cutwood");
  const machine = input("Machine", "cutmachine");
  const learned = h("p.learned", { role: "status" });
  const records = h("ul.stack.records");
  const list = keyed(records, (record) => JSON.stringify(record), row);
  const buttons = h(
    "div.verdicts",
    {},
    VERDICTS.map(([word, text, says]) =>
      h(
        "button.verdictbutton",
        { type: "button", "data-verdict": word, onclick: () => tap(word) },
        h("span.fitbox", { "aria-hidden": "true" }, h("i")),
        h("strong", {}, text),
        h("span.soft", {}, says),
      ),
    ),
  );
  const top = stepTop(
    "fit",
    "After the cut",
    "Try the part. One tap, and the machine's own over- or undercut is reckoned into the next job's suggestion.",
  );

  async function tap(verdict) {
    const clearance = chosen ?? clearances()[0];
    try {
      known = await ask("POST", address("fitted"), {
        json: {
          clearance,
          verdict,
          wood: wood.field.value.trim() || undefined,
          machine: machine.field.value.trim() || undefined,
          cutter: value(["pocket", "cutter", "diameter"]) ?? null,
        },
      });
      say(learned, `Noted: ${verdict}. ${inUnit(sentence(known.sentence))}`);
      await read();
    } catch (refusal) {
      problems.report(refusal);
    }
  }

  async function read() {
    const found = await ask("GET", address("fitted")).catch(() => null);
    if (!found) return;
    list([...found.records].reverse());
    // The shop mostly has one machine and cuts one wood in a row: the last answer is offered again.
    const last = found.records.at(-1);
    if (last && !wood.field.value) wood.field.value = last.wood ?? "";
    if (last && !machine.field.value) machine.field.value = last.machine ?? "";
    if (!known && found.sentence) say(learned, inUnit(sentence(found.sentence)));
  }

  const el = h(
    "div",
    {},
    top.el,
    h(
      "div.two",
      {},
      h(
        "section.card.stack",
        { "aria-label": "How it fitted" },
        gaps,
        h("div.fields", {}, wood.el, machine.el),
        buttons,
        learned,
      ),
      h(
        "section.card.stack",
        { "aria-label": "Recorded for this part" },
        h("h3", {}, "Recorded for this part"),
        records,
      ),
    ),
  );

  return {
    el,
    update() {
      top.update();
      const now = clearances();
      if (JSON.stringify(now) + length(1) !== drawnGaps) {
        drawnGaps = JSON.stringify(now) + length(1);
        chosen = now.includes(chosen) ? chosen : (now[0] ?? null);
        group = now.length
          ? few({
              label: "The gap that was cut",
              options: now.map((text) => [text, length(parseLength(text) ?? 0)]),
              take: (text) => {
                chosen = text;
              },
            })
          : null;
        gaps.replaceChildren(group ? group.el : h("p.soft", {}, "The pocket has no gap yet: choose one there first."));
        group?.set(chosen);
      }
      buttons.querySelectorAll("button").forEach((button) => {
        button.disabled = !now.length;
      });
      const own = value(["pocket", "wood", "species"]);
      if (own && !wood.field.value && document.activeElement !== wood.field) wood.field.value = own;
      const bench = value(["pocket", "machine"]);
      if (bench && !machine.field.value && document.activeElement !== machine.field) machine.field.value = bench;
      if (asked !== state.id) {
        asked = state.id;
        read();
      }
    },
  };
}
