// A picture to move and enlarge: wheel, drag, pinch, keys, or its three buttons.

import { h, s } from "./dom.js";
import { sign } from "./marks.js";

const STEP = 1.5;
const KEY_SHARE = 0.12;
const TOOLS_PX = 66;

/**
 * `bounds` is [left, top, width, height] in the drawing's own unit; `least` the smallest width
 * that may be looked at. `tapped(point)` is told where a tap without a move fell.
 */
export function viewer({ label, least, tapped }) {
  const stage = s("svg.stage", {
    tabindex: 0,
    role: "group",
    "aria-label": `${label}. Arrow keys move, plus and minus enlarge, 0 shows all`,
  });
  const caption = h("div.caption", { hidden: true });
  const tool = (name, says, act) =>
    h("button", { type: "button", "aria-label": says, title: says, onclick: act }, sign(name));
  const el = h(
    "div.viewer",
    {},
    stage,
    caption,
    h(
      "div.tools",
      {},
      tool("minus", "Smaller", () => enlarge(1 / STEP)),
      tool("plus", "Larger", () => enlarge(STEP)),
      tool("fit", "Show all", () => all()),
    ),
  );
  let whole = [0, 0, 100, 100];
  let box = [...whole];

  // The box that fills the stage, so that scale is the same across and down.
  const filled = ([x, y, w, hgt]) => {
    const ratio = (stage.clientWidth || 4) / (stage.clientHeight || 3);
    return w / hgt < ratio
      ? [x - (hgt * ratio - w) / 2, y, hgt * ratio, hgt]
      : [x, y - (w / ratio - hgt) / 2, w, w / ratio];
  };
  const draw = () => {
    stage.setAttribute("viewBox", box.map((v) => v.toFixed(3)).join(" "));
    const pixel = box[2] / (stage.clientWidth || 1);
    stage.classList.toggle("close", pixel < 0.5);
    el.dispatchEvent(new CustomEvent("looked", { detail: { box, pixel } }));
  };
  const place = (event) => {
    const r = stage.getBoundingClientRect();
    return [
      box[0] + ((event.clientX - r.left) / r.width) * box[2],
      box[1] + ((event.clientY - r.top) / r.height) * box[3],
    ];
  };
  function enlarge(factor, about = [box[0] + box[2] / 2, box[1] + box[3] / 2]) {
    const limit = filled(whole)[2] * 1.2;
    const width = Math.min(limit, Math.max(least(), box[2] / factor));
    const f = width / box[2];
    box = [about[0] - (about[0] - box[0]) * f, about[1] - (about[1] - box[1]) * f, width, box[3] * f];
    draw();
  }
  function move(dx, dy) {
    box = [box[0] + dx, box[1] + dy, box[2], box[3]];
    draw();
  }
  function all() {
    // The buttons stand over the lower edge; what is shown keeps clear of them.
    const clear = 1 - Math.min(0.4, TOOLS_PX / (stage.clientHeight || 300));
    box = filled([whole[0], whole[1], whole[2], whole[3] / clear]);
    draw();
  }

  stage.addEventListener(
    "wheel",
    (event) => {
      event.preventDefault();
      enlarge(Math.exp(-event.deltaY * 0.0022), place(event));
    },
    { passive: false },
  );

  const down = new Map();
  let travelled = 0;
  stage.addEventListener("pointerdown", (event) => {
    stage.setPointerCapture(event.pointerId);
    if (down.size === 0) travelled = 0;
    down.set(event.pointerId, event);
  });
  stage.addEventListener("pointermove", (event) => {
    const before = down.get(event.pointerId);
    if (!before) return;
    const unit = box[2] / stage.clientWidth;
    const dx = event.clientX - before.clientX;
    const dy = event.clientY - before.clientY;
    travelled += Math.hypot(dx, dy);
    const other = [...down.values()].find((known) => known.pointerId !== event.pointerId);
    if (other) {
      const apart = (one) => Math.max(20, Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY));
      const middle = place({
        clientX: (event.clientX + other.clientX) / 2,
        clientY: (event.clientY + other.clientY) / 2,
      });
      enlarge(apart(event) / apart(before), middle);
      move((-dx / 2) * unit, (-dy / 2) * unit);
    } else {
      move(-dx * unit, -dy * unit);
    }
    down.set(event.pointerId, event);
  });
  const up = (event) => {
    if (down.delete(event.pointerId) && event.type === "pointerup" && travelled < 8 && down.size === 0) {
      tapped?.(place(event), box[2] / stage.clientWidth);
    }
  };
  stage.addEventListener("pointerup", up);
  stage.addEventListener("pointercancel", up);
  stage.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way) move(way[0] * box[2] * KEY_SHARE, way[1] * box[3] * KEY_SHARE);
    else if (event.key === "+" || event.key === "=") enlarge(STEP);
    else if (event.key === "-") enlarge(1 / STEP);
    else if (event.key === "0") all();
    else return;
    event.preventDefault();
  });
  new ResizeObserver(() => {
    const middle = [box[0] + box[2] / 2, box[1] + box[3] / 2];
    const ratio = (stage.clientHeight || 3) / (stage.clientWidth || 4);
    box = [box[0], middle[1] - (box[2] * ratio) / 2, box[2], box[2] * ratio];
    if (box[2] > filled(whole)[2] || Math.abs(box[2] - whole[2]) < 1e-9) all();
    else draw();
  }).observe(stage);

  return {
    el,
    stage,
    /** Show another picture: its bounds, and its SVG children. */
    put(bounds, ...children) {
      const same = whole.every((v, i) => Math.abs(v - bounds[i]) < 1e-6);
      whole = bounds;
      stage.replaceChildren(...children);
      if (!same) all();
    },
    /** Look at a place, `width` wide. */
    look([x, y], width) {
      const ratio = stage.clientHeight / stage.clientWidth;
      box = [x - width / 2, y - (width * ratio) / 2, width, width * ratio];
      draw();
    },
    caption(text) {
      caption.hidden = !text;
      caption.textContent = text ?? "";
    },
    all,
  };
}
