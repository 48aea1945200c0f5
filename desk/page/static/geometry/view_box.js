// The part of a picture that a viewer shows: `[left, top, width, height]` in the drawing's own unit.

/** The box grown, about its middle, to the window's ratio of width to height. */
export function filled([x, y, w, h], ratio) {
  return w / h < ratio ? [x - (h * ratio - w) / 2, y, h * ratio, h] : [x, y - (w / ratio - h) / 2, w, w / ratio];
}

export const centre = ([x, y, w, h]) => [x + w / 2, y + h / 2];

/** Enlarged by a factor about a point that stays where it is; its width kept within `[least, most]`. */
export function enlarged([x, y, w, h], factor, [px, py], [least, most]) {
  const width = Math.min(most, Math.max(least, w / factor));
  const f = width / w;
  return [px - (px - x) * f, py - (py - y) * f, width, h * f];
}

export const moved = ([x, y, w, h], dx, dy) => [x + dx, y + dy, w, h];

/** The same width and middle in a window of another ratio. */
export function reshaped(box, ratio) {
  const [, middle] = centre(box);
  const height = box[2] / ratio;
  return [box[0], middle - height / 2, box[2], height];
}

/** `width` wide about a point. */
export const about = ([x, y], width, ratio) => [x - width / 2, y - width / ratio / 2, width, width / ratio];
