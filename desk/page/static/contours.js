// The measured contour of each photo, read when a step wants to draw it.

import { address, state, tell } from "./job.js";
import { ask } from "./server.js";

const kept = new Map();

/** The photo's contour, or the one before while a newer is on its way; null where there is none. */
export function contourOf(photo) {
  if (photo.state !== "done") return null;
  const mark = `${photo.key}|${photo.turn}|${state.outline?.key ?? ""}`;
  const place = `${state.id}/${photo.id}`;
  const known = kept.get(place);
  if (known?.mark !== mark) {
    const next = { mark, contour: known?.contour ?? null };
    // A turned photo has other pixels: an older contour would lie across it.
    if (known && known.turn !== photo.turn) next.contour = null;
    next.turn = photo.turn;
    kept.set(place, next);
    ask("GET", address(`photos/${photo.id}/contour`))
      .then((contour) => {
        next.contour = contour;
        tell();
      })
      .catch(() => {});
  }
  return kept.get(place).contour;
}

/** The address of a photo's picture. */
export const picture = (photo, width) =>
  address(
    `photos/${photo.id}/picture?width=${width}&k=${encodeURIComponent(`${photo.key ?? photo.file}-${photo.turn}`)}`,
  );
