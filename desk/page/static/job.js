// The job that is open: what the server last said of it, the changes on their way, and the way back.

import { drop, keep, keptOf } from "./kept.js";
import { Outbox } from "./outbox.js";
import { ask } from "./server.js";
import { asSent, at, elementOf, listLength, put, turned } from "./changes.js";

const EMPTY = {
  id: null,
  revision: null,
  job: {},
  faults: [],
  advice: [],
  steps: [],
  lead: null,
  work: null,
  sheetOffer: null,
  barred: null,
  photos: [],
  removed: [],
  outlineState: { state: "missing" },
  planState: { state: "missing" },
  outline: null,
  plan: null,
  tried: null,
  files: { state: "missing", list: [] },
  connected: true,
  problem: null,
  unsent: { count: 0, why: null },
};

/** What the page shows. Only this module writes into it. */
export const state = { ...EMPTY };
/** What can be taken back and done again: `{ label, back }`, newest last. */
export const history = { done: [], undone: [] };

const watchers = new Set();
let told = false;

/** Be told, once a turn, that something of the state is new. */
export const watch = (watcher) => watchers.add(watcher);

/** Tell everybody. */
export function tell() {
  if (told) return;
  told = true;
  queueMicrotask(() => {
    told = false;
    watchers.forEach((watcher) => watcher(state));
  });
}

/** The value of a key of the job, undefined where it is not there. */
export const value = (path) => at(state.job, path);

const base = (id = state.id) => `/api/jobs/${encodeURIComponent(id)}`;
/** The address of something of this job. */
export const address = (rest) => `${base()}/${rest}`;

// ---- coming and going

let stream = null;

export async function open(id) {
  close();
  Object.assign(state, { ...EMPTY, id });
  history.done.length = history.undone.length = 0;
  await refresh();
  await resume(id);
  stream = new EventSource(address("events"));
  const on = (name, act) => stream.addEventListener(name, (event) => act(JSON.parse(event.data)));
  on("hello", ({ revision }) => {
    state.connected = true;
    outbox.flush();
    if (revision !== state.revision) reread();
    tell();
  });
  on("job", ({ revision }) => revision !== state.revision && reread());
  on("photo", (photo) => {
    const place = state.photos.findIndex((known) => known.id === photo.id);
    if (place >= 0) state.photos[place] = photo;
    tell();
    reread();
  });
  on("outline", (now) => {
    takeOutline(now);
    reread();
  });
  on("plan", (now) => {
    takePlan(now);
    reread();
  });
  on("files", (files) => {
    state.files = files;
    tell();
    reread();
  });
  on("work", ({ work }) => {
    state.work = work;
    tell();
  });
  stream.addEventListener("error", () => {
    state.connected = false;
    tell();
  });
}

export function close() {
  outbox.stop();
  stream?.close();
  stream = null;
  state.id = null;
}

let refreshing = null;
let again = false;

/** Read the job again; calls that come meanwhile share one more reading. */
export function refresh() {
  if (refreshing) {
    again = true;
    return refreshing;
  }
  refreshing = (async () => {
    do {
      again = false;
      const id = state.id;
      const seen = await ask("GET", base());
      if (state.id !== id) return;
      // While changes are on their way the page is ahead of the file.
      if (outbox.empty) Object.assign(state, { job: seen.job, revision: seen.revision });
      const { faults, advice, steps, photos, removed, files } = seen;
      Object.assign(state, { faults, advice, steps, photos, removed, files });
      Object.assign(state, { lead: seen.lead, work: seen.work, sheetOffer: seen.sheet_offer, barred: seen.barred });
      tell();
      takeOutline(seen.outline);
      takePlan(seen.plan);
    } while (again);
  })().finally(() => {
    refreshing = null;
  });
  return refreshing;
}

/** Read the job again where nobody waits for it; a server that is gone is said elsewhere. */
const reread = () => refresh().catch(() => {});

async function takeOutline(now) {
  state.outlineState = now;
  tell();
  if (!now.key || now.key === state.outline?.key) return;
  const outline = await ask("GET", address("outline")).catch(() => null);
  if (outline) state.outline = outline;
  tell();
}

async function takePlan(now) {
  state.planState = now;
  if (now.state === "missing" && now.error) state.plan = null; // no old pocket after a refusal
  tell();
  if (!now.key || now.key === state.plan?.key) return;
  const plan = await ask("GET", address("plan")).catch(() => null);
  if (plan) state.plan = plan;
  tell();
}

let trying = false;
let toTry = null;
let tries = 0; // begun so far
let ended = 0; // up to this one they are not shown

/**
 * Plan a pocket that is only being tried, shown in place of the plan until a change is answered. Of several that
 * come while one is on its way, the last one counts. `number` is the place of the clearance that is tried.
 */
export async function tryPocket(pocket, number) {
  toTry = { pocket, number, place: ++tries };
  if (trying) return;
  trying = true;
  while (toTry) {
    const [id, now] = [state.id, toTry];
    toTry = null;
    const plan = await ask("POST", address("plan"), { json: { pocket: now.pocket } }).catch(() => null);
    if (id !== state.id || now.place <= ended || !plan) continue;
    state.tried = { ...plan, key: JSON.stringify(now), number: now.number, place: now.place };
    tell();
  }
  trying = false;
}

/** The job's own plan is shown again, unless something is tried that began later. */
function endTries(upTo) {
  ended = Math.max(ended, upTo);
  if (toTry?.place <= ended) toTry = null;
  if (state.tried?.place <= ended) state.tried = null;
}

// ---- changes

/**
 * Change keys of the job: `edits` are `[path, now]`. It shows at once, is sent in turn, and can be
 * taken back; `label` says what it was.
 */
export function commit(label, edits) {
  const changes = edits
    .map((edit) => asSent(state.job, edit))
    .map(([path, now]) => {
      const list = Array.isArray(state.job[path[0]]);
      const end = path.length === 2 && typeof path[1] === "number" && path[1] >= listLength(state.job, path[0]);
      const was = end ? null : (at(state.job, path) ?? null);
      const element = list && path.length > 2 ? elementOf(state.job, path) : undefined;
      return { path, was, now, ...(element ? { element } : {}) };
    })
    .filter((change) => JSON.stringify(change.was) !== JSON.stringify(change.now));
  if (!changes.length) {
    endTries(tries);
    tell();
    return Promise.resolve();
  }
  return run(label, changes, history.done, true);
}

/** Take an act that has requests of its own into the history. */
export function remember(label, back, forth) {
  history.done.push(turnable(label, back, forth));
  history.undone.length = 0;
  tell();
}

const turnable = (label, back, forth) => ({
  label,
  async back(onto) {
    await back();
    onto.push(turnable(label, forth, back));
    tell();
  },
});

function run(label, changes, onto, forget) {
  const after = structuredClone(state.job);
  for (const change of changes) put(after, change);
  const entry = { label, back: (other) => run(label, turned(changes, after, state.job), other, false) };
  state.job = after;
  onto.push(entry);
  if (forget) history.undone.length = 0;
  // On its way before the page is drawn again.
  const sent = outbox.add({ job: state.id, label, changes, entry, onto, tried: tries });
  tell();
  return sent;
}

// Changes leave in order. One that the server cannot take now stays shown, is kept by the browser, and is sent later.
const outbox = new Outbox({
  send({ job, changes }) {
    const asksPlan = changes.some((change) => change.path[0] === "pocket");
    return ask("POST", `${base(job)}/changes${asksPlan ? "?plan=1" : ""}`, { json: { changes } });
  },
  keep(item) {
    const { job, label, changes } = item;
    item.kept = keep("changes", { job, label, changes });
  },
  drop: (item) => item.kept.then((id) => id !== undefined && drop("changes", id)),
  answered({ job, tried = 0 }, answer, last) {
    if (job !== state.id) return;
    state.revision = answer.revision;
    if (last) state.job = answer.job;
    if (answer.plan) {
      state.planState = answer.plan;
      endTries(tried);
      if (answer.plan.plan) state.plan = answer.plan.plan;
    }
    reread();
  },
  refused({ job, label, changes, entry, onto, tried = 0 }, refusal) {
    if (job !== state.id) return;
    if (entry) onto.splice(onto.indexOf(entry), 1);
    endTries(tried);
    state.problem = { refusal, changes, label };
    reread();
  },
  changed() {
    state.unsent = outbox.unsent;
    tell();
  },
});
addEventListener("online", () => outbox.flush());

/** Send what an earlier page could not send. */
async function resume(id) {
  const kept = await keptOf("changes", id);
  if (!kept.length || state.id !== id) return;
  const after = structuredClone(state.job);
  for (const { changes } of kept) changes.forEach((change) => put(after, change));
  state.job = after;
  tell();
  await outbox.resume(kept.map((record) => ({ ...record, kept: Promise.resolve(record.id) })));
}

/** Take the last act back; it can be done again. */
export const undo = () => goBack(history.done, history.undone);
export const redo = () => goBack(history.undone, history.done);

async function goBack(from, onto) {
  const entry = from.pop();
  tell();
  try {
    await entry?.back(onto);
  } catch (refusal) {
    state.problem = { refusal, label: entry.label };
    tell();
  }
}

/** Put through what another window stood against, or leave its value. */
export function settle(mine) {
  const { refusal, label } = state.problem;
  state.problem = null;
  const { conflicts, job, revision } = refusal.body;
  if (job) Object.assign(state, { job, revision });
  tell();
  if (mine && conflicts) {
    commit(
      label,
      conflicts.map(({ path, now }) => [path, now]),
    );
  }
}

export function dismissProblem() {
  state.problem = null;
  tell();
  reread();
}
