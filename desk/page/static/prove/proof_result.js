// What a test found, decision first, and the tests that are kept.

import { h, mark, say } from "../parts/dom.js";
import { length } from "../parts/lengths.js";
import { changingSign } from "../parts/marks.js";
import { errorWords, noticeList, told } from "../parts/notices.js";
import { digits } from "../parts/quantities.js";
import { view } from "../parts/view.js";

const SIGN = { passes: "done", "not decided": "usable", fails: "retake" };
const MEANS =
  "E is measured less known size. U95 is what the object leaves open: its tolerances, its thickness and the " +
  "scatter of its edge. Print, lens and light are what is tested.";

const number = (mm) => digits(mm, view.unit);
const signed = (mm) => `${mm >= 0 ? "+" : ""}${number(mm)}`;

function row({ photo, of, measured, reference, error, u95, can_pass: can }) {
  const known = h("span.soft.note", `known: ${length(reference)}${can ? "" : ", too coarsely to pass"}`);
  const cells = [number(measured), signed(error), number(u95)].map((text) => h("td.number", text));
  return h("tr", h("td", `${of}, ${photo.replace(/^photo-(\d+)\..*$/, "photo $1")}`, known), cells);
}

/** `{ el, working(count), refused(refusal), show(record) }`. */
export function resultCard() {
  const sign = changingSign("missing");
  const [says, more, kept] = [h("strong"), h("div.stack"), h("p")];
  const bar = h("progress", { "aria-label": "Measuring the photos", hidden: true });
  const rows = h("tbody");
  const first = h("th");
  const head = h("tr", first, ...["Measured", "E", "U95"].map((text) => h("th.number", text)));
  const table = h("div.scrolls", { tabindex: 0, role: "region", "aria-label": "Size errors" });
  table.append(h("table", h("thead", head), rows));
  const notices = noticeList("Remarks on the test");
  const details = h("div.stack", { hidden: true }, more, table, h("p.soft", MEANS), notices.el, kept);
  let last = null;

  function state(name, words, waits = false) {
    sign.set(name);
    say(says, words);
    mark(bar, "hidden", waits ? null : true);
  }
  function show(record) {
    last = record;
    const [decision, ...others] = record.told;
    state(SIGN[record.decision], told(decision));
    more.replaceChildren(...others.map((one) => h("p", told(one))));
    say(first, `Size, ${view.unit}`);
    rows.replaceChildren(...record.errors.map(row));
    notices.update(record.warnings);
    const phone = record.phone?.name;
    const where = phone ? `Kept for ${phone} and this print` : "Kept";
    say(kept, `${where}, ${record.date}.${phone ? " Later reports of this phone and print name it." : ""}`);
    details.hidden = false;
  }
  const title = h("h3", "Result");
  const line = h("p.stateline", { role: "status" }, sign.el, says);
  state("missing", "No test yet.");
  return {
    el: h("section.card.stack", { "aria-label": "Result" }, title, line, bar, details),
    working(count) {
      last = null;
      details.hidden = true;
      state("working", `Measuring ${count}; a few seconds for each.`, true);
    },
    refused: (refusal) => state("retake", errorWords(refusal.record)),
    show,
    update: () => last && show(last), // in another unit, perhaps
  };
}

/** Tests that were kept, the newest first: `{ el, show(tests), update() }`. */
export function keptTests() {
  const list = h("ul.stack");
  const none = h("p.soft", "None yet.");
  let tests = [];
  const update = () => {
    list.replaceChildren(...tests.map((test) => h("li.row.nowrap", signOf(test), h("span", told(test.told)))));
    none.hidden = tests.length > 0;
  };
  const signOf = ({ decision }) => {
    const made = changingSign("missing");
    made.set(SIGN[decision]);
    return made.el;
  };
  return {
    el: h("section.card.stack", { "aria-label": "Tests kept" }, h("h3", "Tests kept"), list, none),
    show(found) {
      tests = found;
      update();
    },
    update,
  };
}
