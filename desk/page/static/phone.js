// The way onto a phone: a link that works once, as a square to scan, and what to do where the phone does not get here.

import { h, mark } from "./parts/dom.js";
import { ask } from "./server.js";

const TRY = [
  "Is the phone in the same network as this computer? Not in a guest network, and not on mobile data.",
  "Does this computer's firewall ask about Snugline, or Python? Allow it in your private network.",
];
const ONLY = "This computer has one address in a network; a second one would be offered here.";

/** The square of a link, and the link in words. */
function square({ url, qr }) {
  const drawn = new DOMParser().parseFromString(qr, "image/svg+xml").documentElement;
  drawn.setAttribute("role", "img");
  drawn.setAttribute("aria-label", "The link as a square to scan");
  const link = h("a", { href: url, target: "_blank" }, url);
  return [h("div.square", document.adoptNode(drawn)), h("p", link)];
}

/** What to try where the phone does not open it; another address takes the square's place. */
function otherWays(ways, show) {
  const hosts = ways.map(({ url }) => new URL(url).host);
  let at = 0;
  const now = h("p", { role: "status" });
  const next = h("button", { type: "button" }, "Show the other address");
  next.addEventListener("click", () => {
    at = (at + 1) % ways.length;
    show(ways[at]);
    now.textContent = `Now shown: ${hosts[at]}.`;
  });
  const other = ways.length > 1 ? h("li", "Try this computer's other address: ", next, now) : h("li.soft", ONLY);
  return h(
    "details",
    h("summary", "The phone does not open it"),
    h(
      "ul.cautions",
      TRY.map((words) => h("li", words)),
      other,
    ),
  );
}

export function phoneButton() {
  const [shown, words, help] = [h("div.stack"), h("p"), h("div")];
  const dialog = h(
    "dialog.phone",
    { "aria-label": "Open on a phone" },
    h("div.stack", h("h2", "Open on a phone"), shown, words, help),
    h("div.row", h("button.main", { type: "button", onclick: () => dialog.close() }, "Close")),
  );
  const button = h("button", { type: "button", hidden: true }, "Phone");
  const show = (way) => shown.replaceChildren(...square(way));
  button.addEventListener("click", async () => {
    shown.replaceChildren();
    help.replaceChildren();
    dialog.showModal();
    try {
      const link = await ask("POST", "/api/link");
      show(link);
      help.replaceChildren(otherWays([link, ...link.others], show));
      words.replaceChildren(
        `Point the phone's camera at it. The link works once, for ${link.minutes} minutes. `,
        "What is sent crosses your network unencrypted: use it in your own network only.",
      );
    } catch (refusal) {
      words.replaceChildren(`${refusal.message}. ${refusal.mend}`);
    }
  });
  document.body.append(dialog);
  ask("GET", "/api/about")
    .then((about) => mark(button, "hidden", about.lan && about.here ? null : true))
    .catch(() => {});
  return button;
}
