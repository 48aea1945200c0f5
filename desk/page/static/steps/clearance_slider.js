// The clearance under a finger: from tight to loose, with the probability that the part goes in.

import { address, state, tryPocket, value } from "../job.js";
import { h, mark, s, say } from "../parts/dom.js";
import { clearanceWords, shifted } from "../parts/clearances.js";
import { sentence } from "../parts/notices.js";
import { chanceCurve, nearestRung } from "../geometry/chance_curve.js";
import { parseLength } from "../parts/lengths.js";
import { view } from "../parts/view.js";
import { ask } from "../server.js";

const STEP = { mm: 0.05, in: 0.0508 }; // mm: 0.05 mm, or 0.002 in

/** A clearance of the job in millimetres; null until it is a length. */
function inMm(text) {
  if (typeof text !== "object") return parseLength(text ?? "");
  const [length, width] = [parseLength(text.length ?? ""), parseLength(text.width ?? "")];
  return length === null || width === null ? null : { length, width };
}

/** What the probabilities depend on beside the clearance: while it stays, they are not asked for again. */
function given(number) {
  const { clearance, ...rest } = value(["pocket"]) ?? {};
  const apart = inMm([clearance].flat()[number]);
  const difference = typeof apart === "object" && apart ? apart.length - apart.width : 0;
  return JSON.stringify([state.id, state.outline?.key, number, difference, view.unit, rest]);
}

const words = ({ clearance, words: likely }) => [
  `${clearanceWords(view.unit, clearance)} per side`,
  likely ? `the part ${likely}` : "no pocket can be drawn",
];

/** What is seen: the curve, the slider, plain words at its ends, and what the place it stands at means. */
function parts(number) {
  const name = number ? `Clearance ${number + 1}, tight to loose` : "Clearance, tight to loose";
  const curve = s("svg.chance", { viewBox: "0 0 100 40", preserveAspectRatio: "none", "aria-hidden": "true" });
  const input = h("input", { type: "range", min: 0, step: 1, "aria-label": name });
  const ends = h(
    "div.ends",
    { "aria-hidden": "true" },
    h("span", "tight: may not enter"),
    h("span", "dashed: suggested"),
    h("span", "loose: play to feel"),
  );
  const says = h("p.says", { role: "status" });
  return {
    el: h("div.clearanceslider.wholerow", { hidden: true }, curve, input, ends, says),
    input,
    tell(rung, rungs, suggested) {
      const [gap, likely] = words(rung);
      say(says, sentence(`${gap}: ${likely}`));
      mark(input, "aria-valuetext", `${gap}: ${likely}`);
      curve.replaceChildren(...chanceCurve(rungs, Number(input.value), suggested));
    },
  };
}

/** A clearance as it stands, between two rungs perhaps, with what the plan says of it; null where it says nothing. */
function planned(clearance) {
  const mm = inMm(clearance);
  const verdict = state.plan?.pockets?.find((pocket) => JSON.stringify(pocket.clearance) === JSON.stringify(mm));
  return mm === null || !verdict ? null : { clearance: mm, words: verdict.goes_in.words };
}

/** `clearance()` is the job's text, `take(next)` puts another one there; `number` is its place in the list. */
export function clearanceSlider({ number, clearance, take }) {
  const { el, input, tell } = parts(number);
  let rungs = [];
  let suggested = null;
  let asked = null;
  let held = false; // by a finger

  const chosen = () => rungs[Number(input.value)];
  const next = () => shifted(clearance(), chosen().clearance, view.unit);

  async function read() {
    const now = given(number);
    if (now === asked || state.planState.state !== "ready") return;
    asked = now;
    const found = await ask("GET", address(`clearances?of=${number}&step=${STEP[view.unit]}`)).catch(() => null);
    if (asked !== now) return;
    if (!found) asked = null;
    rungs = found?.rungs ?? [];
    suggested = found?.suggested ?? null;
    update();
  }

  input.addEventListener("input", () => {
    held = true;
    tell(chosen(), rungs, suggested);
    const all = [value(["pocket", "clearance"])].flat();
    all[number] = next();
    tryPocket({ ...value(["pocket"]), clearance: all }, number);
  });
  input.addEventListener("change", () => {
    held = false;
    take(next());
  });

  function update() {
    read();
    const mm = inMm(clearance());
    // Its room is kept while its curve is asked for, so that nothing moves when it comes.
    el.hidden = mm === null || state.outlineState.state !== "ready";
    mark(el, "data-empty", rungs.length < 2 ? "" : null);
    if (el.hidden || held || rungs.length < 2) return;
    mark(input, "max", rungs.length - 1);
    input.value = String(nearestRung(rungs, mm));
    tell(planned(clearance()) ?? chosen(), rungs, suggested);
  }
  return { el, update };
}
