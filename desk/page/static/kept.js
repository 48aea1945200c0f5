// What the browser itself keeps until the server has it: changes of a job, and photos.

const NAME = "snugline";
const STORES = ["changes", "photos"];
let opened = null;

const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

function database() {
  opened ??= (async () => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      for (const store of STORES) request.result.createObjectStore(store, { keyPath: "id", autoIncrement: true });
    };
    return done(request);
  })();
  return opened;
}

async function within(store, mode, act) {
  try {
    const open = await database();
    return await done(act(open.transaction(store, mode).objectStore(store)));
  } catch {
    return undefined; // a browser that keeps nothing still sends
  }
}

/** Keep a record; gives its id, undefined where the browser keeps nothing. */
export const keep = (store, record) => within(store, "readwrite", (all) => all.add(record));

export const drop = (store, id) => within(store, "readwrite", (all) => all.delete(id));

/** All that is kept of a job, in the order it was given, each with its id. */
export const keptOf = async (store, job) =>
  ((await within(store, "readonly", (all) => all.getAll())) ?? []).filter((record) => record.job === job);
