// The choices of the pocket in groups of one purpose, each with the warnings that it causes.

import { state, value } from "../job.js";
import { h, keyed, say } from "../parts/dom.js";
import { length } from "../parts/lengths.js";
import { byGravity, planNoticeList } from "../parts/notices.js";
import { changingSign } from "../parts/marks.js";
import { choiceField, checkField, lengthField, numberField, textField } from "../parts/fields.js";
import { clearanceList, seat, suggestion, tableList, tableSwitch, whileThere } from "./pocket_fields.js";

const p =
  (...keys) =>
  () => ["pocket", ...keys];
const HUNDREDTH = () => 0.05;
const HALF = () => 0.5;
const SIDES = ["front", "back", "left", "right"].map((side) => [side, side]);

const len = (label, keys, more = {}) => lengthField({ label, path: p(...keys), ...more });
const pick = (label, keys, options, more = {}) => choiceField({ label, path: p(...keys), options, ...more });

/** Humidity of the room, or moisture of the wood: one of the two, as the job has it. */
function climate(label, key) {
  const has = () => value(["pocket", "wood", key]) ?? {};
  return numberField({
    label,
    name: `${label.toLowerCase()} of the wood`,
    path: () => ["pocket", "wood", key, "moisture" in has() ? "moisture" : "humidity"],
    unit: () => ("moisture" in has() ? "% moisture of the wood" : "% humidity of the room"),
  });
}

/** Seasons of the plan as a table, for the first clearance. */
function seasons() {
  const rows = h("tbody");
  const list = keyed(
    rows,
    ({ season, along }) => `${season}|${along}`,
    () => {
      const name = h("td");
      const gap = h("td.number");
      return {
        el: h("tr", {}, name, gap),
        update(one) {
          say(name, `${one.season} day, along the ${one.along}`);
          say(gap, length(one.gap));
        },
      };
    },
  );
  const el = h("table", {}, h("thead", {}, h("tr", {}, h("th", {}, "Then"), h("th.number", {}, "gap per side"))), rows);
  return {
    el,
    update() {
      const found = state.plan?.seasons ?? [];
      el.hidden = !found.length;
      list(found.filter(({ clearance }) => clearance === found[0].clearance));
    },
  };
}

function times() {
  const words = h("p.soft");
  return {
    el: words,
    update: () =>
      say(
        words,
        (state.plan?.times ?? [])
          .map((time) =>
            typeof time === "string"
              ? time
              : `${time.sheet ?? time.name ?? ""}: ${Math.ceil(time.minutes ?? time.seconds / 60)} min`,
          )
          .join("; "),
      ),
  };
}

/** Title, keys of `[pocket]` whose warnings belong here, fields, and a line of the values now. */
function definitions() {
  const wood = ["pocket", "wood"];
  return [
    [
      "Gap round the part",
      ["clearance", "kind", "machine"],
      [
        clearanceList(),
        suggestion(),
        pick(
          "Kind of part",
          ["kind"],
          [
            [null, "firm"],
            ["soft", "soft: gives way"],
            ["brittle", "brittle: stone, glass, tile"],
            ["metal", "metal"],
          ],
        ),
        textField({ label: "Machine", optional: true, path: p("machine"), placeholder: "as you call it" }),
      ],
      true,
    ],
    [
      "Depth",
      ["seat", "sanding"],
      [
        seat(),
        len("Sanded off the face afterwards", ["sanding"], { optional: true, placeholder: "0 mm", step: HUNDREDTH }),
      ],
      true,
    ],
    [
      "Cutter",
      ["cutter", "relief"],
      [
        len("Diameter", ["cutter", "diameter"], { optional: true, step: HALF, name: "cutter" }),
        len("Length of its edge", ["cutter", "length"], { optional: true, name: "cutter's length" }),
        pick(
          "Corners it cannot reach",
          ["relief"],
          [
            [null, "leave them"],
            ["dog-bone", "dog-bone"],
            ["t-bone along length", "T-bone along the length"],
            ["t-bone along width", "T-bone along the width"],
          ],
          { name: "relief" },
        ),
      ],
      true,
    ],
    [
      "Wood and seasons",
      ["wood", "glued", "material", "food"],
      [
        tableSwitch(
          "Reckon with the wood's movement",
          wood,
          {
            species: "ash, white",
            grain: "length",
            now: { humidity: 45 },
            driest: { humidity: 30 },
            dampest: { humidity: 60 },
          },
          [
            textField({
              label: "Species",
              path: p("wood", "species"),
              hint: "for example walnut; ash, white; maple, sugar",
            }),
            pick(
              "Grain runs along the pocket's",
              ["wood", "grain"],
              [
                ["length", "length"],
                ["width", "width"],
              ],
              { name: "grain" },
            ),
            pick(
              "Board",
              ["wood", "cut"],
              [
                [null, "flat sawn"],
                ["quarter sawn", "quarter sawn"],
              ],
              { name: "cut of the board" },
            ),
            climate("Now", "now"),
            climate("Driest day", "driest"),
            climate("Dampest day", "dampest"),
            seasons(),
          ],
        ),
        textField({
          label: "The part is of",
          optional: true,
          placeholder: "slate, steel, glass …",
          path: p("material"),
          name: "material",
        }),
        checkField({ label: "The part is glued in", path: p("glued") }),
        checkField({ label: "It meets food or water", path: p("food") }),
      ],
    ],
    [
      "Getting the part out",
      ["notch", "push_hole", "ribbon"],
      [
        tableList("Finger notch", "notch", { side: "front", width: "22 mm" }, (path) => [
          choiceField({ label: "Side", path: path("side"), options: SIDES, name: "notch" }),
          lengthField({ label: "Width", path: path("width"), placeholder: "20 mm", name: "notch" }),
          lengthField({
            label: "Depth",
            optional: true,
            placeholder: "the pocket's",
            path: path("depth"),
            name: "notch",
          }),
        ]),
        tableList("Push-out hole", "push_hole", { diameter: "20 mm" }, (path) => [
          lengthField({ label: "Diameter", path: path("diameter"), placeholder: "20 mm", name: "push-out hole" }),
          lengthField({
            label: "From the centre, right",
            path: path("x"),
            placeholder: "0 mm",
            signed: true,
            name: "push-out hole",
          }),
          lengthField({
            label: "From the centre, back",
            path: path("y"),
            placeholder: "0 mm",
            signed: true,
            name: "push-out hole",
          }),
        ]),
        tableList("Ribbon slot", "ribbon", { side: "back", width: "20 mm", reach: "3 mm" }, (path) => [
          choiceField({ label: "Side", path: path("side"), options: SIDES, name: "ribbon slot" }),
          lengthField({ label: "Width", path: path("width"), placeholder: "20 mm", name: "ribbon slot" }),
          lengthField({ label: "Reach", path: path("reach"), placeholder: "3 mm", name: "ribbon slot" }),
        ]),
      ],
    ],
    [
      "Border",
      ["border"],
      [
        tableSwitch("Cut the outside too", ["pocket", "border"], { land: "20 mm" }, [
          len("Wood left beside the pocket", ["border", "land"], { step: () => 1, name: "land" }),
          len("Corner radius", ["border", "corner"], {
            optional: true,
            placeholder: "parallel to the pocket",
            name: "border's corner",
          }),
          choiceField({
            label: "Edge",
            path: p("border", "edge"),
            options: [
              [null, "left square"],
              ["round-over", "round-over"],
              ["chamfer", "chamfer"],
              ["cove", "cove"],
            ],
            edits: (word) => [
              [["pocket", "border", "edge"], word],
              [["pocket", "border", "edge_size"], word ? (value(["pocket", "border", "edge_size"]) ?? "4 mm") : null],
              ...(word ? [] : [[["pocket", "border", "edge_on"], null]]),
            ],
          }),
          whileThere(
            ["pocket", "border", "edge"],
            len("Size of the edge", ["border", "edge_size"], { step: HALF, name: "edge size" }),
          ),
          whileThere(
            ["pocket", "border", "edge"],
            pick(
              "On",
              ["border", "edge_on"],
              [
                [null, "the top"],
                ["both faces", "both faces"],
              ],
              { name: "edge" },
            ),
          ),
        ]),
      ],
    ],
    [
      "Board",
      ["stock"],
      [
        len("Thickness of the board", ["stock", "thickness"], { optional: true, name: "board's thickness" }),
        len("Length along the grain", ["stock", "length"], { optional: true, name: "board's length" }),
        len("Width", ["stock", "width"], { optional: true, name: "board's width" }),
        len("Kept free at its edges", ["stock", "margin"], { optional: true, placeholder: "10 mm", name: "margin" }),
        numberField({ label: "Copies", optional: true, placeholder: "1", path: p("stock", "copies") }),
        checkField({ label: "Pieces may lie across the grain", path: p("stock", "turn") }),
        checkField({ label: "Lay the test cuts on it too", path: p("stock", "coupons") }),
      ],
    ],
    [
      "Deeper places of the floor",
      ["step", "feet"],
      [
        tableSwitch("A deeper floor inside a ledge", ["pocket", "step"], { inset: "6 mm", deeper: "2 mm" }, [
          len("Ledge left", ["step", "inset"], { name: "ledge" }),
          len("Deeper by", ["step", "deeper"], { name: "deeper floor" }),
        ]),
        tableSwitch("Recesses for feet", ["pocket", "feet"], { diameter: "12 mm", inset: "20 mm", deeper: "2 mm" }, [
          len("Diameter", ["feet", "diameter"], { name: "feet" }),
          len("Centre from the sides", ["feet", "inset"], { name: "feet" }),
          len("Deeper by", ["feet", "deeper"], { name: "feet" }),
        ]),
      ],
    ],
    [
      "Test cuts",
      ["coupons"],
      [
        tableSwitch("Draw test pieces over a ladder of gaps", ["pocket", "coupons"], { corners: 1 }, [
          pickNumber("Corners on each", ["coupons", "corners"]),
          len("Run of the sides", ["coupons", "run"], { optional: true, placeholder: "50 mm", name: "test cuts" }),
          len("Depth", ["coupons", "depth"], { optional: true, name: "test cuts" }),
          checkField({ label: "A channel of the full width as well", path: p("coupons", "slip") }),
        ]),
      ],
    ],
    [
      "Routing by hand",
      ["template"],
      [
        tableSwitch("Draw a template to rout along", ["pocket", "template"], { bush: "17 mm", cutter: "8 mm" }, [
          len("Guide bush", ["template", "bush"], { optional: true, name: "guide bush" }),
          len("or bearing", ["template", "bearing"], { optional: true, name: "bearing" }),
          len("Cutter", ["template", "cutter"], { name: "template's cutter" }),
        ]),
      ],
    ],
    [
      "Time at the machine",
      ["feeds"],
      [
        tableSwitch(
          "Reckon the time",
          ["pocket", "feeds"],
          { feed: "1500 mm", plunge: "500 mm", step_over: "2.4 mm", step_down: "2 mm" },
          [
            len("Feed a minute", ["feeds", "feed"], { name: "feed" }),
            len("Plunge a minute", ["feeds", "plunge"], { name: "plunge" }),
            len("Step over", ["feeds", "step_over"], {}),
            len("Step down", ["feeds", "step_down"], {}),
            times(),
          ],
        ),
      ],
    ],
  ];
}

function pickNumber(label, keys) {
  return numberField({ label, path: p(...keys), unit: "1 or 2", name: "test cuts" });
}

function group([title, keys, fields, open]) {
  const list = planNoticeList(`Remarks: ${title}`);
  const signs = changingSign("fine");
  const count = h("span.soft.count");
  const notes = h("div.notes", {}, list.el);
  const el = h(
    "details.card.group",
    { open },
    h("summary", {}, h("h3", {}, title), h("span.row", {}, signs.el, count)),
    h(
      "div.inside",
      {},
      h(
        "div.fields",
        {},
        fields.map((field) => field.el),
      ),
      notes,
    ),
  );
  return {
    el,
    keys: new Set(keys),
    update(notices) {
      fields.forEach((field) => field.update?.());
      const sorted = byGravity(notices);
      list.update(sorted);
      signs.el.hidden = !sorted.length;
      if (sorted.length) signs.set(sorted[0].severity);
      say(count, sorted.length ? `${sorted.length} ${sorted.length === 1 ? "remark" : "remarks"}` : "");
    },
  };
}

/** Faults of the job read as remarks, so that they stand in one place with those of the plan. */
const asNotice = ({ what, mend, key }) => ({ code: "fault", text: what, mend, severity: "retake", key });

export function groups() {
  const made = definitions().map(group);
  let rest = [];
  return {
    el: h(
      "div.stack",
      {},
      made.map(({ el }) => el),
    ),
    update() {
      const faults = state.faults.filter(({ key }) => key?.[0] === "pocket" && value(["pocket"])).map(asNotice);
      const notices = [...faults, ...(state.plan?.notices ?? [])];
      const placed = new Set();
      for (const one of made) {
        const mine = notices.filter(({ key }) => key?.[0] === "pocket" && one.keys.has(key[1]));
        mine.forEach((notice) => placed.add(notice));
        one.update(mine);
      }
      rest = notices.filter((notice) => !placed.has(notice));
    },
    unplaced: () => rest,
  };
}
