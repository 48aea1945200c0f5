// Photos on their way to the server; what is sent here lives on when the step is left.

import { address, refresh, remember, state, tell } from "./job.js";
import { ask, send } from "./server.js";

/** `{ key, name, share, preview, error, replaces }`, in the order they were given. */
export const uploads = [];

let count = 0;
const ENDS = ["left end", "right end"];

/** What a new photo most likely shows: the end that no photo shows yet. */
function guess() {
  const shown = [...state.photos.map(({ shows }) => shows), ...uploads.map(({ shows }) => shows)];
  return ENDS.find((end) => !shown.includes(end)) ?? "left end";
}

/** Send files, each as a photo of its own; with `replaces` one file takes a photo's place. */
export function upload(files, replaces = null) {
  for (const file of files) {
    const shows = replaces ? replaces.shows : guess();
    const entry = { key: ++count, name: file.name, share: 0, error: null, shows, file, replaces, job: state.id };
    uploads.push(entry);
    start(entry);
  }
}

async function start(entry) {
  entry.error = null;
  tell();
  const { file, replaces, shows } = entry;
  const where = replaces
    ? address(`photos/${replaces.id}`)
    : address(`photos?shows=${encodeURIComponent(shows)}&name=${encodeURIComponent(file.name)}`);
  try {
    const { photo } = await send(replaces ? "PUT" : "POST", where, file, (share) => {
      entry.share = share;
      tell();
    });
    uploads.splice(uploads.indexOf(entry), 1);
    await refresh();
    if (replaces) {
      const old = state.removed.at(-1);
      if (old) remember("photo replaced", () => restore(old.id, photo.id, "photo replaced"));
    } else remember("photo added", () => takeOut(photo, "photo added"));
  } catch (refusal) {
    entry.error = refusal;
  }
  tell();
}

export const retry = (entry) => start(entry);

export function forget(entry) {
  uploads.splice(uploads.indexOf(entry), 1);
  tell();
}

/** Take a photo out of the job; its file is kept and can be put back. */
export async function takeOut(photo, label = "photo taken out") {
  const { removed } = await ask("DELETE", address(`photos/${photo.id}`));
  await refresh();
  if (label === "photo taken out") remember(label, () => restore(removed, null, label));
}

export async function restore(removed, insteadOf) {
  await ask("POST", address(`removed/${removed}/restore`), { json: { instead_of: insteadOf } });
  await refresh();
}

export async function turn(photo, by = 90) {
  await ask("POST", address(`photos/${photo.id}/turn`), { json: { by } });
  await refresh();
  if (by === 90) remember("photo turned", () => turn(photo, 270));
}
