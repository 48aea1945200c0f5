// The choices of the pocket, in groups of one purpose: `{ title, keys, fields, open }`, `keys` being
// those of `[pocket]` whose remarks belong there.

import { state, value } from "../job.js";
import { checkField, choiceField, lengthField, numberField, textField } from "../parts/fields.js";
import { timeTable, seasonTable } from "./plan_tables.js";
import { clearanceList, seat, suggestion, tableList, tableSwitch, whileThere } from "./pocket_fields.js";

const HUNDREDTHS = () => 0.05; // mm, for a press
const HALVES = () => 0.5;
const SIDES = ["front", "back", "left", "right"].map((side) => [side, side]);

const p =
  (...keys) =>
  () => ["pocket", ...keys];
const len = (label, keys, more = {}) => lengthField({ label, path: p(...keys), ...more });
const pick = (label, keys, options, more = {}) => choiceField({ label, path: p(...keys), options, ...more });
const check = (label, keys) => checkField({ label, path: p(...keys) });

const clearance = () => ({
  title: "Clearance",
  keys: ["clearance", "kind", "machine"],
  open: true,
  fields: [
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
});

const depth = () => ({
  title: "Depth",
  keys: ["seat", "sanding"],
  open: true,
  fields: [
    seat(),
    len("Sanded off the face afterwards", ["sanding"], { optional: true, placeholder: "0 mm", step: HUNDREDTHS }),
  ],
});

const cutter = () => ({
  title: "Cutter",
  keys: ["cutter", "relief"],
  open: true,
  fields: [
    len("Diameter", ["cutter", "diameter"], { optional: true, step: HALVES, name: "cutter" }),
    len("Cutting length", ["cutter", "length"], { optional: true, name: "cutter's length" }),
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
});

/** Humidity of the room, or moisture of the wood: one of the two, as the job has it. */
function climate(label, key, table = "pocket") {
  const asMoisture = () => "moisture" in (value([table, "wood", key]) ?? {});
  return numberField({
    label,
    name: `${label.toLowerCase()} of the wood`,
    path: () => [table, "wood", key, asMoisture() ? "moisture" : "humidity"],
    unit: () => (asMoisture() ? "% moisture of the wood" : "% humidity of the room"),
  });
}

/** The group that has the remarks on the part's own wood. */
export const PART_WOOD = "part wood";
const USUAL_WOOD = {
  species: "ash, white",
  grain: "length",
  now: { humidity: 45 },
  driest: { humidity: 30 },
  dampest: { humidity: 60 },
};
const EITHER_WAY = [
  ["length", "length"],
  ["width", "width"],
];
const SAWN = [
  [null, "flat sawn"],
  ["quarter sawn", "quarter sawn"],
];

const SPECIES = "for example walnut; ash, white; maple, sugar";

/** The part's own wood moves with the board's; its driest and dampest day are the board's. */
function partWood() {
  const own =
    (...keys) =>
    () => ["part", "wood", ...keys];
  const first = { species: "maple, sugar", grain: "length", now: { humidity: 45 } };
  const alongside = () => (value(["pocket", "wood"]) ? [] : [[["pocket", "wood"], USUAL_WOOD]]);
  const fields = [
    textField({ label: "Species of the part", path: own("species"), hint: SPECIES, name: "species of the part" }),
    choiceField({
      label: "Grain runs along the part's",
      path: own("grain"),
      options: EITHER_WAY,
      name: "part's grain",
    }),
    choiceField({ label: "The part is", path: own("cut"), options: SAWN, name: "cut of the part" }),
    climate("The part now", "now", "part"),
  ];
  return tableSwitch("The part is wood, too", ["part", "wood"], first, fields, alongside);
}

const wood = () => ({
  title: "Wood and seasons",
  keys: ["wood", "glued", "material", "food", PART_WOOD],
  fields: [
    tableSwitch("Allow for wood movement", ["pocket", "wood"], USUAL_WOOD, [
      textField({ label: "Species", path: p("wood", "species"), hint: SPECIES }),
      pick("Grain runs along the pocket's", ["wood", "grain"], EITHER_WAY, { name: "grain" }),
      pick("Board", ["wood", "cut"], SAWN, { name: "cut of the board" }),
      climate("Now", "now"),
      climate("Driest day", "driest"),
      climate("Dampest day", "dampest"),
      seasonTable(() => state.plan),
    ]),
    partWood(),
    textField({
      label: "Material of the part",
      optional: true,
      placeholder: "slate, steel, glass …",
      path: p("material"),
      name: "material",
    }),
    check("The part is glued in", ["glued"]),
    check("In contact with food or water", ["food"]),
  ],
});

const notchFields = (path) => [
  choiceField({ label: "Side", path: path("side"), options: SIDES, name: "notch" }),
  lengthField({ label: "Width", path: path("width"), placeholder: "20 mm", name: "notch" }),
  lengthField({ label: "Depth", optional: true, placeholder: "the pocket's", path: path("depth"), name: "notch" }),
];

const holeFields = (path) => {
  const field = (label, key, more) => lengthField({ label, path: path(key), name: "push-out hole", ...more });
  return [
    field("Diameter", "diameter", { placeholder: "20 mm" }),
    field("From the centre, right", "x", { placeholder: "0 mm", signed: true }),
    field("From the centre, back", "y", { placeholder: "0 mm", signed: true }),
  ];
};

const ribbonFields = (path) => [
  choiceField({ label: "Side", path: path("side"), options: SIDES, name: "ribbon slot" }),
  lengthField({ label: "Width", path: path("width"), placeholder: "20 mm", name: "ribbon slot" }),
  lengthField({ label: "Reach", path: path("reach"), placeholder: "3 mm", name: "ribbon slot" }),
];

const gettingOut = () => ({
  title: "Getting the part out",
  keys: ["notch", "push_hole", "ribbon"],
  fields: [
    tableList("Finger notch", "notch", { side: "front", width: "22 mm" }, notchFields),
    tableList("Push-out hole", "push_hole", { diameter: "20 mm" }, holeFields),
    tableList("Ribbon slot", "ribbon", { side: "back", width: "20 mm", reach: "3 mm" }, ribbonFields),
  ],
});

const EDGES = [
  [null, "left square"],
  ["round-over", "round-over"],
  ["chamfer", "chamfer"],
  ["cove", "cove"],
];

/** An edge has a size as soon as it has a form, and no face without one. */
function edgeEdits(word) {
  const path = (key) => ["pocket", "border", key];
  const size = word ? (value(path("edge_size")) ?? "4 mm") : null;
  const faces = word ? [] : [[path("edge_on"), null]];
  return [[path("edge"), word], [path("edge_size"), size], ...faces];
}

function borderEdgeFields() {
  const there = (field) => whileThere(["pocket", "border", "edge"], field);
  const faces = [
    [null, "the top"],
    ["both faces", "both faces"],
  ];
  return [
    choiceField({ label: "Edge", path: p("border", "edge"), options: EDGES, edits: edgeEdits }),
    there(len("Size of the edge", ["border", "edge_size"], { step: HALVES, name: "edge size" })),
    there(pick("On", ["border", "edge_on"], faces, { name: "edge" })),
  ];
}

const border = () => ({
  title: "Border",
  keys: ["border"],
  fields: [
    tableSwitch("Cut the outside too", ["pocket", "border"], { land: "20 mm" }, [
      len("Wood left around the pocket", ["border", "land"], { step: () => 1, name: "land" }),
      len("Corner radius", ["border", "corner"], {
        optional: true,
        placeholder: "parallel to the pocket",
        name: "border's corner",
      }),
      ...borderEdgeFields(),
    ]),
  ],
});

const board = () => ({
  title: "Board",
  keys: ["stock"],
  fields: [
    len("Thickness of the board", ["stock", "thickness"], { optional: true, name: "board's thickness" }),
    len("Length along the grain", ["stock", "length"], { optional: true, name: "board's length" }),
    len("Width", ["stock", "width"], { optional: true, name: "board's width" }),
    len("Margin at the edges", ["stock", "margin"], { optional: true, placeholder: "10 mm", name: "margin" }),
    numberField({ label: "Copies", optional: true, placeholder: "1", path: p("stock", "copies") }),
    check("Pieces may lie across the grain", ["stock", "turn"]),
    check("Lay the test coupons on it too", ["stock", "coupons"]),
  ],
});

const floor = () => ({
  title: "Deeper areas of the floor",
  keys: ["step", "feet"],
  fields: [
    tableSwitch("Stepped floor with a ledge", ["pocket", "step"], { inset: "6 mm", deeper: "2 mm" }, [
      len("Ledge left", ["step", "inset"], { name: "ledge" }),
      len("Deeper by", ["step", "deeper"], { name: "deeper floor" }),
    ]),
    tableSwitch("Recesses for feet", ["pocket", "feet"], { diameter: "12 mm", inset: "20 mm", deeper: "2 mm" }, [
      len("Diameter", ["feet", "diameter"], { name: "feet" }),
      len("Centre from the sides", ["feet", "inset"], { name: "feet" }),
      len("Deeper by", ["feet", "deeper"], { name: "feet" }),
    ]),
  ],
});

const coupons = () => ({
  title: "Test coupons",
  keys: ["coupons"],
  fields: [
    tableSwitch("Draw test coupons over a ladder of clearances", ["pocket", "coupons"], { run: "20 mm" }, [
      len("Length of straight side", ["coupons", "run"], {
        optional: true,
        placeholder: "20 mm",
        name: "test coupons",
      }),
      len("Depth", ["coupons", "depth"], { optional: true, name: "test coupons" }),
      check("A channel of the full width as well", ["coupons", "slip"]),
    ]),
  ],
});

const template = () => ({
  title: "Routing by hand",
  keys: ["template"],
  fields: [
    tableSwitch("Draw a template to rout along", ["pocket", "template"], { bush: "17 mm", cutter: "8 mm" }, [
      len("Guide bush", ["template", "bush"], { optional: true, name: "guide bush" }),
      len("or bearing", ["template", "bearing"], { optional: true, name: "bearing" }),
      len("Cutter", ["template", "cutter"], { name: "template's cutter" }),
    ]),
  ],
});

const USUAL_FEEDS = { feed: "1500 mm", plunge: "500 mm", step_over: "2.4 mm", step_down: "2 mm" };

const time = () => ({
  title: "Time at the machine",
  keys: ["feeds"],
  fields: [
    tableSwitch("Estimate the time", ["pocket", "feeds"], USUAL_FEEDS, [
      len("Feed rate (per minute)", ["feeds", "feed"], { name: "feed" }),
      len("Plunge rate (per minute)", ["feeds", "plunge"], { name: "plunge" }),
      len("Step-over", ["feeds", "step_over"]),
      len("Step-down", ["feeds", "step_down"]),
      timeTable(() => state.plan),
    ]),
  ],
});

/** All groups, newly made. */
export const choices = () =>
  [clearance, depth, cutter, wood, gettingOut, border, board, floor, coupons, template, time].map((make) => make());
