// What went wrong, said once: two windows that differ, a refusal, a server that is gone.

import { dismissProblem, settle, state } from "./job.js";
import { h, say } from "./parts/dom.js";
import { counted } from "./parts/quantities.js";

const asText = (value) => {
  if (value === null || value === undefined) return "empty";
  if (Array.isArray(value)) return value.map(asText).join(", ");
  if (typeof value === "object") {
    return Object.entries(value)
      .map(([key, one]) => `${key} ${asText(one)}`)
      .join(", ");
  }
  return value === true ? "yes" : value === false ? "no" : String(value);
};

const rows = h("tbody");
const conflict = h(
  "dialog",
  { "aria-label": "Changed elsewhere" },
  h("h2", "Changed elsewhere"),
  h("p", "Another window, or an edit of the file, changed the same value. Which value do you want to keep?"),
  h("table", h("thead", h("tr", h("th", "Value"), h("th", "In the file"), h("th", "Yours"))), rows),
  h(
    "div.row",
    h(
      "button.main",
      {
        type: "button",
        onclick: () => {
          conflict.close();
          settle(false);
        },
      },
      "Keep the file's",
    ),
    h(
      "button",
      {
        type: "button",
        onclick: () => {
          conflict.close();
          settle(true);
        },
      },
      "Use mine",
    ),
  ),
);
conflict.addEventListener("cancel", () => settle(false));
document.body.append(conflict);

const toast = document.querySelector(".toast");
const unsent = document.querySelector(".unsent");
const words = h("span");
const dismiss = h(
  "button",
  {
    type: "button",
    onclick: () => {
      toast.hidden = true;
    },
  },
  "Close",
);
toast.append(words, dismiss);

function report(refusal) {
  say(words, [refusal.message, refusal.mend].filter(Boolean).join(". ").replace("..", "."));
  toast.hidden = false;
}

/** What is not saved yet stays in sight until it is. */
function showUnsent() {
  const { count, why } = state.unsent;
  unsent.hidden = !count;
  if (!count) return;
  const reason = why.status === 0 ? "the server does not answer" : why.message;
  const kept = "It is kept in this browser and sent as soon as the server takes it.";
  say(unsent, `Not saved: ${counted(count, "change")}, because ${reason}. ${kept}`);
}

/** Say a refusal of any request. */
export const problems = {
  report,
  update() {
    showUnsent();
    if (!state.connected && state.id && !state.unsent.count) {
      report({ message: "The server does not answer", mend: "The page goes on as soon as it is back" });
    } else if (words.textContent.startsWith("The server does not answer")) toast.hidden = true;
    const problem = state.problem;
    if (!problem || conflict.open) return;
    if (problem.refusal.body?.conflicts) {
      rows.replaceChildren(
        ...problem.refusal.body.conflicts.map(({ path, now, current }) =>
          h("tr", h("th", { scope: "row" }, path.join(" ")), h("td", asText(current)), h("td", asText(now))),
        ),
      );
      conflict.showModal();
    } else {
      report(problem.refusal);
      dismissProblem();
    }
  },
};
