// The way onto a phone: a link that works once, as a square to scan.

import { h } from "./parts/dom.js";
import { ask } from "./server.js";

export function phoneButton() {
  const square = h("div.square");
  const words = h("p");
  const dialog = h(
    "dialog",
    { "aria-label": "Open on a phone" },
    h("h2", "Open on a phone"),
    square,
    words,
    h("div.row", h("button.main", { type: "button", onclick: () => dialog.close() }, "Close")),
  );
  const button = h("button", { type: "button", hidden: true }, "Phone");
  button.addEventListener("click", async () => {
    square.replaceChildren();
    dialog.showModal();
    try {
      const link = await ask("POST", "/api/link");
      const drawn = new DOMParser().parseFromString(link.qr, "image/svg+xml").documentElement;
      drawn.setAttribute("role", "img");
      drawn.setAttribute("aria-label", "The link as a square to scan");
      square.append(document.adoptNode(drawn));
      words.replaceChildren(
        `Point the phone's camera at it. The link works once, for ${link.minutes} minutes. `,
        "The phone must be in the same network: ",
        h("a", { href: link.url, target: "_blank" }, link.url),
      );
    } catch (refusal) {
      words.replaceChildren(`${refusal.message}. ${refusal.mend}`);
    }
  });
  document.body.append(dialog);
  ask("GET", "/api/about")
    .then((about) => {
      button.hidden = !about.lan || !about.here;
    })
    .catch(() => {});
  return button;
}
