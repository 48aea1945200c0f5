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
    const { photo, removed } = await send(replaces ? "PUT" : "POST", where, file, (share) => {
      entry.share = share;
      tell();
    });
    uploads.splice(uploads.indexOf(entry), 1);
    await refresh();
    if (replaces) rememberReplaced(photo, removed);
    else rememberAdded(photo);
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

// What is taken out is kept by the server under an id of its own, new with every time.

async function out(photo) {
  const { removed } = await ask("DELETE", address(`photos/${photo.id}`));
  await refresh();
  return removed;
}

/** Put a kept photo back, in place of another if one is named; gives the photo. */
export async function restore(removed, insteadOf = null) {
  const { photo } = await ask("POST", address(`removed/${removed}/restore`), { json: { instead_of: insteadOf } });
  await refresh();
  return photo;
}

function rememberAdded(first) {
  let photo = first;
  let kept = null;
  remember(
    "photo added",
    async () => {
      kept = await out(photo);
    },
    async () => {
      photo = await restore(kept);
    },
  );
}

function rememberReplaced(first, removed) {
  let [photo, kept] = [first, removed];
  const exchange = async () => {
    const before = new Set(state.removed.map(({ id }) => id));
    photo = await restore(kept, photo.id);
    kept = state.removed.find(({ id }) => !before.has(id))?.id;
  };
  remember("photo replaced", exchange, exchange);
}

/** Take a photo out of the job; its file is kept and can be put back. */
export async function takeOut(first) {
  let photo = first;
  let kept = await out(photo);
  remember(
    "photo removed",
    async () => {
      photo = await restore(kept);
    },
    async () => {
      kept = await out(photo);
    },
  );
}

/** Turn what is shown of a photo by a quarter, clockwise. */
export async function turn(photo) {
  const by = async (angle) => {
    await ask("POST", address(`photos/${photo.id}/turn`), { json: { by: angle } });
    await refresh();
  };
  await by(90);
  remember(
    "photo rotated",
    () => by(270),
    () => by(90),
  );
}
