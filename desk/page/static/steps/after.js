// After the cut: one tap says how it fitted, and the next job's suggestion learns from it.

import { address, state, value } from "../job.js";
import { h, keyed, mark, say } from "../parts/dom.js";
import { few } from "../parts/fields.js";
import { length, parseLength } from "../parts/lengths.js";
import { told } from "../parts/notices.js";
import { problems } from "../problems.js";
import { ask } from "../server.js";
import { clearances } from "./pocket_fields.js";
import { stepTop } from "./top.js";

// The job's word, the page's, and what it means.
const VERDICTS = [
  ["tight", "Tight", "goes in, but only pressed"],
  ["snug", "Snug", "drops in, no play to feel"],
  ["loose", "Loose", "there is play"],
  ["no-go", "Does not enter", ""],
];
const WORD = Object.fromEntries(VERDICTS.map(([word, title]) => [word, title.toLowerCase()]));
const LEAST_CUTS = 2; // one cut says nothing about the machine
const SAYS = "Try the part. One tap, and the machine's width error is taken into account in the next suggestion.";

/** A clearance of the job or of a record, in the unit shown. */
function inMm(clearance) {
  if (typeof clearance === "number") return length(clearance);
  if (typeof clearance === "object") {
    const [along, across] = ["length", "width"].map((axis) => inMm(clearance[axis]));
    return `${along} along, ${across} across`;
  }
  const mm = parseLength(clearance ?? "");
  return mm === null ? clearance : length(mm);
}

function recordRow() {
  const [words, when] = [h("span"), h("span.soft")];
  return {
    el: h("li.row", words, when),
    update(record) {
      const clearance = `clearance ${inMm(record.clearance)}`;
      const verdict = WORD[record.verdict] ?? record.verdict;
      say(words, [verdict, clearance, record.wood, record.machine].filter(Boolean).join(", "));
      const made = typeof record.when === "number" ? record.when * 1000 : record.when;
      say(when, made ? new Date(made).toLocaleDateString() : "");
    },
  };
}

/** Which of the pocket's clearances was cut: `{ el, now(), update() }`. */
function clearanceChoice() {
  const el = h("div.clearances");
  const none = h("p.soft", "The pocket has no clearance yet: enter one there first.");
  let chosen = null;
  let drawn = null;
  return {
    el,
    now: () => chosen,
    update() {
      const all = clearances();
      const seen = JSON.stringify(all) + length(1);
      if (seen === drawn) return;
      drawn = seen;
      if (!all.some((one) => JSON.stringify(one) === JSON.stringify(chosen))) chosen = all[0] ?? null;
      const group = few({
        label: "Clearance that was cut",
        options: all.map((one, i) => [String(i), inMm(one)]),
        take: (place) => {
          chosen = all[Number(place)];
        },
      });
      el.replaceChildren(all.length ? group.el : none);
      group.set(all.findIndex((one) => JSON.stringify(one) === JSON.stringify(chosen)));
    },
  };
}

/** A field that offers what is known from elsewhere, until something is typed. */
function offering(label, id, path) {
  const input = h("input", { type: "text", id, autocomplete: "off", placeholder: "as you call it" });
  return {
    el: h("div.field", h("label", { for: id }, label), input),
    input,
    text: () => input.value.trim(),
    offer(text) {
      if (text && !input.value && document.activeElement !== input) input.value = text;
    },
    update() {
      this.offer(value(path));
    },
  };
}

function verdictButtons(tap) {
  const button = ([word, title, says]) =>
    h(
      "button.verdictbutton",
      { type: "button", "data-verdict": word, onclick: () => tap(word) },
      h("span.fitbox", { "aria-hidden": "true" }, h("i")),
      h("strong", title),
      h("span.soft", says),
    );
  const all = VERDICTS.map(button);
  const enable = (able) => all.forEach((one) => mark(one, "disabled", able ? null : true));
  return { el: h("div.verdicts", all), enable };
}

/** What the cuts on record say about the machine. */
const learnedWords = (found) => (found.cuts >= LEAST_CUTS ? told(found) : "");

export function afterStep() {
  let asked = null;
  const cut = clearanceChoice();
  const wood = offering("Wood", "cutwood", ["pocket", "wood", "species"]);
  const machine = offering("Machine", "cutmachine", ["pocket", "machine"]);
  const learned = h("p.learned", { role: "status" });
  const records = h("ul.stack.records");
  const list = keyed(records, (record) => JSON.stringify(record), recordRow);
  const buttons = verdictButtons((verdict) => note(verdict).catch(problems.report));
  const top = stepTop("fit", "After the cut", SAYS);

  async function note(verdict) {
    if (!machine.text()) {
      machine.input.focus();
      say(learned, "Enter the machine first.");
      return;
    }
    const cutter = value(["pocket", "cutter", "diameter"]) ?? null;
    const json = { clearance: cut.now(), verdict, wood: wood.text() || undefined, machine: machine.text(), cutter };
    const found = await ask("POST", address("fitted"), { json });
    say(learned, `Recorded: ${WORD[verdict]}. ${learnedWords(found)}`.trim());
    await read(false);
  }

  async function read(speaks) {
    const found = await ask("GET", address("fitted")).catch(() => null);
    if (!found) return;
    list([...found.records].reverse());
    // The shop mostly has one machine and cuts one wood in a row: the last answer is offered again.
    wood.offer(found.records.at(-1)?.wood);
    machine.offer(found.records.at(-1)?.machine);
    if (speaks) say(learned, found.records.length ? learnedWords(found) : "No cuts recorded yet.");
  }

  const fitted = { "aria-label": "How it fitted" };
  const form = h("section.card.stack", fitted, cut.el, h("div.fields", wood.el, machine.el), buttons.el, learned);
  const title = "Recorded for this part";
  const past = h("section.card.stack", { "aria-label": title }, h("h3", title), records);
  return {
    el: h("div", top.el, h("div.two", form, past)),
    update() {
      [top, cut, wood, machine].forEach((one) => one.update());
      buttons.enable(clearances().length > 0);
      if (asked === state.id) return;
      asked = state.id;
      read(true);
    },
  };
}
