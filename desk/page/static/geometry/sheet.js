// The calibration sheet to look at: markers round the window, and its two bars. Millimetres, y down.

const A4 = { sheet: [297, 210], bars: { x: 200, y: 120 } }; // drawn until the sheet itself is read
const INSET = 40; // of that one's window
const EDGE = 8; // from the paper's edge to the markers
const LARGEST = 14; // marker

const evenly = (from, to, count) => Array.from({ length: count }, (_, i) => from + ((to - from) * i) / (count - 1));

/** Squares of the markers as path data: one row along each side of a sheet `w` by `t`. */
function markers(w, t, room) {
  const size = Math.min(LARGEST, room * 0.36);
  const count = (along) => Math.round((along - 2 * EDGE) / (size * 1.6));
  const xs = evenly(EDGE, w - EDGE - size, count(w));
  const ys = evenly(EDGE, t - EDGE - size, count(t));
  const places = [
    ...xs.flatMap((x) => [ys[0], ys.at(-1)].map((y) => [x, y])),
    ...ys.slice(1, -1).flatMap((y) => [xs[0], xs.at(-1)].map((x) => [x, y])),
  ];
  return places.map(([x, y]) => `M${x} ${y}h${size}v${size}h${-size}Z`).join("");
}

/** What is drawn of a sheet `{ sheet, window, bars }`; without one, of a plain A4. */
export function sheetDrawing(given) {
  const { sheet, bars } = given ?? A4;
  const [w, t] = sheet;
  const corners = given?.window ?? [
    [INSET, INSET],
    [w - INSET, t - INSET],
  ];
  const [xs, ys] = [0, 1].map((axis) => corners.map((corner) => corner[axis]));
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const foot = t - y0; // the window's lower side
  const left = w / 2 - bars.x / 2;
  const low = t / 2 + bars.y / 2;
  return {
    size: [w, t],
    markers: markers(w, t, x0),
    window: { x: x0, y: t - y1, width: x1 - x0, height: y1 - y0 },
    barX: `M${left} ${foot + 3}v6M${left} ${foot + 6}h${bars.x}m0 -3v6`,
    barY: `M${x0 - 9} ${low}h6m-3 0v${-bars.y}m-3 0h6`,
    letterX: [w / 2, foot - 6],
    letterY: [x0 + 13, t / 2 + 6],
  };
}
