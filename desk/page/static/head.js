// The head: where one is, take back, unit, theme, and the way onto a phone.

import { history, redo, state, undo } from "./job.js";
import { h, mark, say } from "./parts/dom.js";
import { few } from "./parts/fields.js";
import { sign } from "./parts/marks.js";
import { show, view } from "./parts/view.js";
import { phoneButton } from "./phone.js";

const name = h("span.name");
const wordmark = h("span.wordmark", "Snugline");
const undoButton = h("button.bare", { type: "button", onclick: () => undo() }, sign("undo"));
const redoButton = h("button.bare", { type: "button", onclick: () => redo() }, sign("redo"));
const units = few({
  label: "Unit shown",
  options: [
    ["mm", "mm"],
    ["in", "inch"],
  ],
  take: (unit) => show({ unit }),
  unseen: true,
});
const themes = h(
  "select",
  { "aria-label": "Theme" },
  [
    ["system", "Auto"],
    ["light", "Light"],
    ["dark", "Dark"],
  ].map(([word, text]) => h("option", { value: word }, text)),
);
themes.addEventListener("change", () => show({ theme: themes.value }));

const typing = (element) => element?.matches?.("input:not([type=radio], [type=checkbox]), textarea");
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || typing(document.activeElement)) return;
  event.preventDefault();
  if (event.shiftKey) redo();
  else undo();
});

function arm(button, word, entry) {
  mark(button, "disabled", entry ? null : true);
  const words = entry ? `${word}: ${entry.label}` : `${word}: nothing to ${word.toLowerCase()}`;
  mark(button, "aria-label", words);
  mark(button, "title", words);
}

const tools = h("div.row.inJob", undoButton, redoButton);

// On a phone these are behind a button, so that the step has the room.
const looks = h("div.looks", { id: "looks" }, units.el, themes, phoneButton());
const says = { type: "button", "aria-label": "Unit and theme", title: "Unit and theme", "aria-controls": "looks" };
const menu = h("button.bare.menu", { ...says, "aria-expanded": "false" }, sign("looks"));
menu.addEventListener("click", () => {
  const open = menu.getAttribute("aria-expanded") !== "true";
  mark(menu, "aria-expanded", String(open));
});

export const head = {
  children: [
    h(
      "h1",
      h(
        "a.home",
        { href: "/", "aria-label": "Snugline, all jobs" },
        h("img", { src: "/static/icon.svg", alt: "", width: 40, height: 40 }),
        wordmark,
      ),
      name,
    ),
    tools,
    menu,
    looks,
  ],
  update(inJob) {
    say(name, inJob ? (state.job.part?.name ?? "part") : "");
    tools.hidden = !inJob;
    wordmark.hidden = inJob;
    arm(undoButton, "Undo", history.done.at(-1));
    arm(redoButton, "Redo", history.undone.at(-1));
    units.set(view.unit);
    themes.value = view.theme;
  },
};
