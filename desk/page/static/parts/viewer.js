// A picture to move and enlarge: wheel, drag, pinch, keys, or its three buttons.

import { about, centre, enlarged, filled, moved, reshaped } from "../geometry/view_box.js";
import { h, s } from "./dom.js";
import { sign } from "./marks.js";

const STEP = 1.5; // of enlargement, for a press
const WHEEL_STEP = 0.0022; // of its logarithm, for a pixel of the wheel
const KEY_SHARE = 0.12; // of the view, for an arrow key
const TOOLS_PX = 56; // height of the buttons until they are laid out
const MOST = 1.2; // times the whole picture's width
const TAP_PX = 8; // of travel at most
const LEAST_APART_PX = 20; // two fingers closer than this count as this far apart

/** What is shown of the picture; `shown(box)` is called whenever that changes. */
function shownPart(stage, room, least, shown) {
  let whole = [0, 0, 100, 100];
  let box = [...whole];
  const ratio = () => (stage.clientWidth || 4) / (stage.clientHeight || 3);
  const put = (next) => {
    box = next;
    shown(box);
  };
  const all = () => {
    // The buttons lie over one edge; what is shown keeps clear of them.
    const [width, height] = [stage.clientWidth || 400, stage.clientHeight || 300];
    const [w, hgt] = room();
    put(filled([whole[0], whole[1], (whole[2] * width) / w, (whole[3] * height) / hgt], ratio()));
  };
  return {
    all,
    again: () => shown(box),
    unit: () => box[2] / (stage.clientWidth || 1),
    at({ clientX, clientY }) {
      const r = stage.getBoundingClientRect();
      return [box[0] + ((clientX - r.left) / r.width) * box[2], box[1] + ((clientY - r.top) / r.height) * box[3]];
    },
    enlarge: (factor, point = centre(box)) =>
      put(enlarged(box, factor, point, [least(), filled(whole, ratio())[2] * MOST])),
    move: (dx, dy) => put(moved(box, dx, dy)),
    moveShare: (x, y) => put(moved(box, x * box[2], y * box[3])),
    look: (point, width) => put(about(point, width, ratio())),
    resize() {
      const wasWhole = Math.abs(box[2] - whole[2]) < 1e-9;
      box = reshaped(box, ratio());
      if (wasWhole || box[2] > filled(whole, ratio())[2]) all();
      else shown(box);
    },
    setWhole(bounds) {
      const same = whole.every((v, i) => Math.abs(v - bounds[i]) < 1e-6);
      whole = bounds;
      return !same;
    },
  };
}

/** One pointer drags, two pinch; a press without travel is a tap. */
function followPointers(stage, shown, tapped) {
  const down = new Map();
  let travelled = 0;
  const pinch = (event, before, other) => {
    const apart = (one) =>
      Math.max(LEAST_APART_PX, Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY));
    const middle = { clientX: (event.clientX + other.clientX) / 2, clientY: (event.clientY + other.clientY) / 2 };
    shown.enlarge(apart(event) / apart(before), shown.at(middle));
  };
  stage.addEventListener("pointerdown", (event) => {
    stage.setPointerCapture(event.pointerId);
    if (down.size === 0) travelled = 0;
    down.set(event.pointerId, event);
  });
  stage.addEventListener("pointermove", (event) => {
    const before = down.get(event.pointerId);
    if (!before) return;
    const [dx, dy] = [event.clientX - before.clientX, event.clientY - before.clientY];
    travelled += Math.hypot(dx, dy);
    const other = [...down.values()].find((known) => known.pointerId !== event.pointerId);
    if (other) pinch(event, before, other);
    const share = (other ? 0.5 : 1) * shown.unit();
    shown.move(-dx * share, -dy * share);
    down.set(event.pointerId, event);
  });
  const up = (event) => {
    const last = down.delete(event.pointerId) && down.size === 0;
    if (last && event.type === "pointerup" && travelled < TAP_PX) tapped?.(shown.at(event), shown.unit());
  };
  stage.addEventListener("pointerup", up);
  stage.addEventListener("pointercancel", up);
}

const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function followKeys(stage, shown) {
  stage.addEventListener("keydown", (event) => {
    const way = WAYS[event.key];
    if (way) shown.moveShare(way[0] * KEY_SHARE, way[1] * KEY_SHARE);
    else if (event.key === "+" || event.key === "=") shown.enlarge(STEP);
    else if (event.key === "-") shown.enlarge(1 / STEP);
    else if (event.key === "0") shown.all();
    else return;
    event.preventDefault();
  });
}

/**
 * `least()` is the smallest width that may be shown, in the drawing's own unit; `tapped(point, unit)`
 * gets where a tap fell and the size of a CSS pixel there.
 */
export function viewer({ label, least, tapped }) {
  const says = `${label}. Arrow keys move, plus and minus enlarge, 0 shows all`;
  const stage = s("svg.stage", { tabindex: 0, role: "group", "aria-label": says });
  const caption = h("div.caption", { hidden: true });
  // CSS pixels that the buttons leave free: below them, or left of them where they stand in a column.
  const room = () => {
    const [width, height] = [stage.clientWidth || 400, stage.clientHeight || 300];
    const column = tools.offsetHeight > tools.offsetWidth;
    const taken = 10 + (column ? tools.offsetWidth : tools.offsetHeight || TOOLS_PX);
    return column ? [Math.max(0.6 * width, width - taken), height] : [width, Math.max(0.6 * height, height - taken)];
  };
  const shown = shownPart(stage, room, least, (box) => {
    stage.setAttribute("viewBox", box.map((v) => v.toFixed(3)).join(" "));
    const pixel = box[2] / (stage.clientWidth || 1);
    stage.classList.toggle("close", pixel < 0.5);
    el.dispatchEvent(new CustomEvent("looked", { detail: { box, pixel } }));
  });
  const tool = (name, words, act) =>
    h("button", { type: "button", "aria-label": words, title: words, onclick: act }, sign(name));
  const tools = h(
    "div.tools",
    tool("minus", "Smaller", () => shown.enlarge(1 / STEP)),
    tool("plus", "Larger", () => shown.enlarge(STEP)),
    tool("fit", "Show all", () => shown.all()),
  );
  const el = h("div.viewer", stage, caption, tools);
  const wheel = (event) => {
    event.preventDefault();
    shown.enlarge(Math.exp(-event.deltaY * WHEEL_STEP), shown.at(event));
  };
  stage.addEventListener("wheel", wheel, { passive: false });
  followPointers(stage, shown, tapped);
  followKeys(stage, shown);
  new ResizeObserver(() => shown.resize()).observe(stage);

  return {
    el,
    stage,
    room,
    /** Show another picture: its bounds, and its SVG children. */
    put(bounds, ...children) {
      const other = shown.setWhole(bounds);
      stage.replaceChildren(...children);
      if (other) shown.all();
      else shown.again();
    },
    look: shown.look,
    caption(text) {
      caption.hidden = !text;
      caption.textContent = text ?? "";
    },
    all: shown.all,
  };
}
