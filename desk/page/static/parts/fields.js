// Fields bound to one key of the job. Each is `{ el, update() }`, and leaves alone what is being typed.

import { commit, value } from "../job.js";
import { freshId, h, mark, say } from "./dom.js";
import { parseAngle, parseLength, plainlyShown, size, typed, withDegrees, withUnit } from "./lengths.js";
import { sign } from "./marks.js";
import { fraction } from "./quantities.js";
import { view } from "./view.js";

const HALF_ROW = 19; // letters that a list beside another field has room for
const PAUSE_MS = 300; // after the last key, before a complete length is taken over

/** The frame of every field: its label, what it may hold, and a line below that never jumps. */
function framed(label, optional, control, under) {
  const id = freshId("field");
  const input = control.matches("input, select") ? control : control.querySelector("input, select");
  input.id = id;
  const head = h("label", { for: id }, label, optional ? h("span.optional", " (optional)") : null);
  if (under) {
    under.id = `${id}-under`;
    input.setAttribute("aria-describedby", under.id);
  }
  return h("div.field", head, control, under);
}

const none = () => "";

/** A placeholder that is a length, in the unit shown. */
function inShownUnit(placeholder) {
  const mm = parseLength(placeholder ?? "");
  return mm === null || view.unit === "mm" ? placeholder : `${fraction(mm) ?? "0"} in`;
}

const FORM = "Write a length, such as 9.5 mm or 7 3/16 in";

/** What is written below a length: what is wrong with it, or what it is in the unit shown. */
function echoOf(text, signed, check) {
  if (text === "") return { bad: false, says: "" };
  const mm = parseLength(text);
  if (mm === null || (!signed && mm < 0)) return { bad: true, says: FORM };
  const fault = check(mm);
  if (fault) return { bad: true, says: fault };
  return { bad: false, says: plainlyShown(text) ? "" : `= ${size(mm)}` };
}

function stepper(label, input, move) {
  const button = (way, name, word) =>
    h("button", { type: "button", "aria-label": `${label}: ${word}`, onclick: () => move(way) }, sign(name));
  return h("div.stepper", button(-1, "minus", "less"), input, button(1, "plus", "more"));
}

/**
 * The parts of a length field that are alike wherever its text is kept: `{ el, input, show(text) }`.
 *
 * With `atRest` a complete length is taken over when the hand rests, else when the field is left.
 */
export function lengthInput({ label, optional, placeholder, step, signed = false, atRest = true, check, take }) {
  const input = h("input", { type: "text", inputmode: "text", autocomplete: "off", spellcheck: "false", placeholder });
  const echo = h("span.echo");
  let kept = "";
  let shown = ""; // what stands in the field unless someone types
  let pause = 0;

  const tell = () => {
    const { bad, says } = echoOf(withUnit(input.value), signed, check ?? none);
    mark(input, "aria-invalid", bad ? "true" : null);
    mark(echo, "data-wrong", bad ? "" : null);
    say(echo, says);
    return !bad;
  };
  const takeOver = () => {
    clearTimeout(pause);
    const text = withUnit(input.value);
    if (!tell() || text === kept) return;
    kept = text;
    shown = input.value;
    take(text === "" ? null : text);
  };
  const complete = () => {
    if (tell()) input.value = withUnit(input.value);
    takeOver();
  };
  input.addEventListener("input", () => {
    clearTimeout(pause);
    // A length still without its unit may go on; one with it is taken when the hand rests.
    if (tell() && atRest && parseLength(input.value) !== null) pause = setTimeout(takeOver, PAUSE_MS);
  });
  input.addEventListener("change", complete);
  input.addEventListener("keydown", (event) => event.key === "Enter" && complete());
  const move = (way) => {
    const grid = step();
    const next = Math.round((parseLength(withUnit(input.value)) ?? 0) / grid + way) * grid;
    input.value = typed(signed ? next : Math.max(0, next));
    takeOver();
  };
  const el = framed(label, optional, step ? stepper(label, input, move) : input, echo);
  return {
    el,
    input,
    name: (text) => say(el.querySelector("label").firstChild, text),
    show(text) {
      // A wrong text stays, marked, until it is mended or the value changes elsewhere.
      const stays = text === kept && input.hasAttribute("aria-invalid");
      kept = text;
      const typing = document.activeElement === input && input.value !== shown;
      if (!typing && !stays && input.value !== text) input.value = text;
      if (!typing) shown = input.value;
      mark(input, "placeholder", inShownUnit(placeholder));
      tell();
    },
  };
}

/** A length as typed, with what it is in the unit in use below it. */
export function lengthField({ label, path, optional = false, placeholder = "", step, signed, check, name = label }) {
  const field = lengthInput({
    label,
    optional,
    placeholder,
    step,
    signed,
    check,
    take: (text) => commit(name.toLowerCase(), [[path(), text]]),
  });
  return { el: field.el, update: () => field.show(value(path()) ?? "") };
}

/** A number in per cent or degrees. */
export function numberField({ label, path, optional = false, placeholder = "", unit = "", name = label }) {
  const input = h("input", { type: "text", inputmode: "decimal", autocomplete: "off", placeholder });
  const unitNow = () => (typeof unit === "function" ? unit() : unit);
  const echo = h("span.echo", unitNow());
  input.addEventListener("change", () => {
    const text = input.value.trim().replace(",", ".");
    const number = text === "" ? null : Number(text);
    const bad = Number.isNaN(number);
    mark(input, "aria-invalid", bad ? "true" : null);
    say(echo, bad ? "Write a number" : unitNow());
    if (!bad) commit(name.toLowerCase(), [[path(), number]]);
  });
  return {
    el: framed(label, optional, input, echo),
    update() {
      if (document.activeElement === input) return;
      input.value = value(path()) ?? "";
      say(echo, unitNow());
    },
  };
}

/** An angle as typed; a bare number is degrees. */
export function angleField({ label, path, optional = false, placeholder = "", hint = "", name = label }) {
  const input = h("input", { type: "text", inputmode: "text", autocomplete: "off", spellcheck: "false", placeholder });
  const echo = h("span.echo", hint);
  const tell = () => {
    const text = withDegrees(input.value);
    const bad = text !== "" && parseAngle(text) === null;
    mark(input, "aria-invalid", bad ? "true" : null);
    mark(echo, "data-wrong", bad ? "" : null);
    say(echo, bad ? "Write an angle, such as 0.5 deg" : hint);
    return !bad;
  };
  input.addEventListener("input", tell);
  input.addEventListener("change", () => {
    if (!tell()) return;
    input.value = withDegrees(input.value);
    commit(name.toLowerCase(), [[path(), input.value || null]]);
  });
  return {
    el: framed(label, optional, input, echo),
    update() {
      if (document.activeElement === input || input.hasAttribute("aria-invalid")) return;
      input.value = value(path()) ?? "";
    },
  };
}

/** Plain words. */
export function textField({ label, path, optional = false, placeholder = "", list, hint, name = label }) {
  const input = h("input", { type: "text", autocomplete: "off", placeholder, list });
  input.addEventListener("change", () => commit(name.toLowerCase(), [[path(), input.value.trim() || null]]));
  return {
    el: framed(label, optional, input, hint ? h("span.hint", hint) : null),
    update() {
      if (document.activeElement !== input) input.value = value(path()) ?? "";
    },
  };
}

/** One of several words; `options` are `[value, label]`, the value null leaves the key out. */
export function choiceField({ label, path, options, hint, name = label, edits }) {
  const input = h(
    "select",
    options.map(([word, text]) => h("option", { value: word ?? "" }, text)),
  );
  input.addEventListener("change", () => {
    const word = input.value === "" ? null : input.value;
    commit(name.toLowerCase(), edits ? edits(word) : [[path(), word]]);
  });
  const el = framed(label, false, input, hint ? h("span.hint", hint) : null);
  // Long words stand in a row of their own, so that none is cut off.
  if (Math.max(...options.map(([, text]) => text.length)) > HALF_ROW) el.classList.add("wholerow");
  return {
    el,
    input,
    update() {
      const now = value(path()) ?? "";
      if (now !== "" && ![...input.options].some((option) => option.value === now)) {
        input.append(h("option", { value: now }, now));
      }
      if (input.value !== now) input.value = now;
    },
  };
}

/** Yes or no; no leaves the key out. */
export function checkField({ label, path, name = label }) {
  const input = h("input", { type: "checkbox" });
  input.addEventListener("change", () => commit(name.toLowerCase(), [[path(), input.checked || null]]));
  return {
    el: h("label.check", input, label),
    update() {
      input.checked = value(path()) === true;
    },
  };
}

/** A choice among few, each with its picture: `{ el, set(value) }`. */
export function pictured({ label, options, take }) {
  const name = freshId("pictured");
  const inputs = options.map(([word, text, picture]) => {
    const input = h("input", { type: "radio", name, value: word });
    input.addEventListener("change", () => take(word));
    return [input, h("label", input, picture, h("span", text))];
  });
  const group = { role: "radiogroup", "aria-label": label };
  const labels = inputs.map(([, el]) => el);
  return {
    el: h("div.field.wholerow", h("span.label", { "aria-hidden": "true" }, label), h("div.pictured", group, labels)),
    set(word) {
      for (const [input] of inputs) input.checked = input.value === word;
    },
  };
}

/** A choice among few, side by side; `{ el, set(value), name(value, text) }`. */
export function few({ label, options, take, down = false, unseen = false }) {
  const name = freshId("few");
  const inputs = options.map(([word, text]) => {
    const input = h("input", { type: "radio", name, value: word });
    const says = h("span", text);
    input.addEventListener("change", () => take(word));
    return [input, h("label", input, says), says];
  });
  const group = h(
    down ? "div.few.down" : "div.few",
    { role: "radiogroup", "aria-label": label },
    inputs.map(([, el]) => el),
  );
  return {
    el: unseen ? group : h("div.field", h("span.label", { "aria-hidden": "true" }, label), h("div", group)),
    set(word) {
      for (const [input] of inputs) input.checked = input.value === String(word);
    },
    name(word, text) {
      for (const [input, , says] of inputs) if (input.value === String(word)) say(says, text);
    },
  };
}
