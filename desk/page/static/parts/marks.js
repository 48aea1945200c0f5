// The page's signs. Every state has a shape and a word; none is told by colour.

import { h, s } from "./dom.js";

const SHAPES = {
  done: ["M4 12.5 L10 18 L20 6"],
  missing: ["M12 4 A8 8 0 1 1 11.99 4 Z"],
  part: ["M12 4 A8 8 0 1 1 11.99 4 Z", "M12 4 V20 M15 5.5 V18.5 M18 7.5 V16.5"],
  working: ["M4 7 H20 M4 12 H14 M4 17 H9"],
  waiting: ["M6 4 H18 L6 20 H18 Z"],
  fine: ["M4 12.5 L10 18 L20 6"],
  usable: ["M12 3.5 L21.5 20 H2.5 Z", "M12 9.5 V14 M12 17 V17.4"],
  retake: ["M7.5 3.5 H16.5 L21 8 V16 L16.5 20.5 H7.5 L3 16 V8 Z", "M8.5 8.5 L15.5 15.5 M15.5 8.5 L8.5 15.5"],
  undo: ["M9 5 L4 10 L9 15", "M4 10 H14 A5 5 0 0 1 14 20 H11"],
  redo: ["M15 5 L20 10 L15 15", "M20 10 H10 A5 5 0 0 0 10 20 H13"],
  plus: ["M12 5 V19 M5 12 H19"],
  minus: ["M5 12 H19"],
  fit: ["M4 9 V4 H9 M15 4 H20 V9 M20 15 V20 H15 M9 20 H4 V15"],
  camera: ["M3 7 H7 L9 4 H15 L17 7 H21 V19 H3 Z", "M12 9 A4 4 0 1 1 11.99 9 Z"],
  turn: ["M19 12 A7 7 0 1 1 14 5.3", "M13 2 L17.5 5.6 L13 9"],
  swap: ["M4 8 H18 M14 4 L18 8 L14 12", "M20 16 H6 M10 12 L6 16 L10 20"],
  out: ["M12 4 V15 M7 10.5 L12 15.5 L17 10.5 M4 20 H20"],
  paper: ["M6 3 H15 L19 7 V21 H6 Z M9 12 H16 M9 16 H16"],
  looks: ["M4 7 H20 M4 12 H20 M4 17 H20", "M9 5 V9 M15 10 V14 M7 15 V19"],
  left: ["M15 5 L8 12 L15 19"],
  right: ["M9 5 L16 12 L9 19"],
  away: ["M6 6 L18 18 M18 6 L6 18"],
};

/** The names of all signs. */
export const signs = Object.keys(SHAPES);

/** One sign, drawn in the colour of its text. */
export function sign(name, title = null) {
  const paths = SHAPES[name].map((d) => s("path", { d }));
  const props = { viewBox: "0 0 24 24", focusable: "false" };
  if (title) return s("svg.sign", { ...props, role: "img", "aria-label": title }, paths);
  return s("svg.sign", { ...props, "aria-hidden": "true" }, paths);
}

/** A sign that can change: `{ el, set(name) }`. */
export function changingSign(name) {
  const el = h("span.signbox", sign(name));
  let now = name;
  return {
    el,
    set(next) {
      if (next !== now) el.replaceChildren(sign((now = next)));
    },
  };
}
