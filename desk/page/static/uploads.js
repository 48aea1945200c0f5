// Photos on their way to the server; what is sent here lives on when the step is left.

import { address, refresh, remember, state, tell } from "./job.js";
import { drop, keep, keptOf } from "./kept.js";
import { ask, send } from "./server.js";

/** `{ key, job, name, shows, file, replaces, share, preview, error }`, in the order they were given. */
export const uploads = [];

let count = 0;
const ENDS = ["left end", "right end"];

/** What a new photo most likely shows: the end that no photo shows yet. */
function guess() {
  const shown = [...state.photos.map(({ shows }) => shows), ...uploads.map(({ shows }) => shows)];
  return ENDS.find((end) => !shown.includes(end)) ?? "left end";
}

/** The pictures of photos as they were given here, by the photo's id: shown until the server's own is there. */
export const previews = new Map();

/** Send files, each as a photo of its own; with `replaces` one file takes a photo's place. */
export function upload(files, replaces = null) {
  for (const file of files) {
    const shows = replaces ? replaces.shows : guess();
    const record = { job: state.id, name: file.name, shows, file, replaces: replaces && { id: replaces.id, shows } };
    start(entryOf(record, keep("photos", record)));
  }
}

function entryOf({ job, name, shows, file, replaces }, kept) {
  const preview = URL.createObjectURL(file);
  const entry = { key: ++count, job, name, shows, file, replaces, kept, preview, share: 0, error: null, ended: false };
  uploads.push(entry);
  return entry;
}

/** Send the photos that an earlier page could not send. */
export async function resumeUploads(job) {
  const here = (record) => uploads.some((entry) => entry.job === job && entry.file.size === record.file.size);
  for (const record of await keptOf("photos", job)) {
    if (state.id !== job || here(record)) continue;
    start(Object.assign(entryOf(record, Promise.resolve(record.id)), { resumed: true }));
  }
}

const addressOf = ({ replaces, shows, name }) =>
  replaces
    ? address(`photos/${replaces.id}`)
    : address(`photos?shows=${encodeURIComponent(shows)}&name=${encodeURIComponent(name)}`);

function finish(entry) {
  entry.ended = true;
  uploads.splice(uploads.indexOf(entry), 1);
  entry.kept.then((id) => id !== undefined && drop("photos", id));
}

async function start(entry) {
  entry.error = null;
  tell();
  try {
    const { photo, removed } = await send(entry.replaces ? "PUT" : "POST", addressOf(entry), entry.file, (share) => {
      entry.share = share;
      tell();
    });
    previews.set(photo.id, entry.preview);
    finish(entry);
    await refresh();
    if (entry.replaces) rememberReplaced(photo, removed);
    else rememberAdded(photo);
  } catch (refusal) {
    // An earlier page had sent it after all.
    if (entry.resumed && refusal.status === 409) finish(entry);
    else if (!entry.ended) entry.error = refusal;
  }
  tell();
}

export const retry = (entry) => start(entry);

export function forget(entry) {
  finish(entry);
  URL.revokeObjectURL(entry.preview);
  tell();
}

// A page that is left while a photo is sent would send it again from its start.
addEventListener("beforeunload", (event) => {
  if (uploads.some(({ error }) => !error)) event.preventDefault();
});

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
