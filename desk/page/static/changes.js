// Changes of a job's keys, as values: looking one up, applying it, turning it round.

const LISTS = new Set(["photo", "reading", "leave_out", "frame"]);

/** The value at a path, undefined where nothing is. */
export const at = (record, path) => path.reduce((inner, key) => inner?.[key], record);

export const listLength = (record, name) => (Array.isArray(record[name]) ? record[name].length : 0);

/** The table of a list that a path goes into. */
export const elementOf = (record, path) => structuredClone(at(record, path.slice(0, 2)));

/** Whether a path names a whole table of a list. */
export const whole = (path) => path.length === 2 && typeof path[1] === "number" && LISTS.has(path[0]);

/**
 * An edit as the server takes it: a list that is one value (`values`, `notch`, ...) goes whole.
 */
export function asSent(record, [path, now]) {
  const inner = path.findIndex((key, i) => typeof key === "number" && (i > 1 || !LISTS.has(path[0])));
  if (inner < 0) return [path, now];
  const list = structuredClone(at(record, path.slice(0, inner)) ?? []);
  const holder = { list };
  put(holder, { path: ["list", ...path.slice(inner)], now });
  return [path.slice(0, inner), holder.list ?? null];
}

/** Apply one change in place; tables on the way are made, emptied ones go. */
export function put(record, { path, now }) {
  if (whole(path)) {
    const list = (record[path[0]] ??= []);
    if (now === null) list.splice(path[1], 1);
    else if (path[1] >= list.length) list.push(structuredClone(now));
    else list[path[1]] = structuredClone(now);
    if (!list.length) delete record[path[0]];
    return;
  }
  const [key, ...rest] = path;
  if (!rest.length) {
    if (now === null) delete record[key];
    else record[key] = structuredClone(now);
    return;
  }
  if (record[key] === undefined) {
    if (now === null) return;
    record[key] = {};
  }
  put(record[key], { path: rest, now });
  if (!Array.isArray(record[key]) && Object.keys(record[key]).length === 0) delete record[key];
}

/** The changes that lead back: `after` is the record that they led to, `present` the one of now. */
export function turned(changes, after, present) {
  return [...changes].reverse().map(({ path, was, now, element }) => {
    if (whole(path)) {
      const list = present[path[0]] ?? [];
      const place = now === null ? list.length : list.findIndex((one) => JSON.stringify(one) === JSON.stringify(now));
      return { path: [path[0], place < 0 ? list.length : place], was: now, now: was };
    }
    if (!element) return { path, was: now, now: was };
    const changed = elementOf(after, path);
    const place = (present[path[0]] ?? []).findIndex((one) => JSON.stringify(one) === JSON.stringify(changed));
    return { path: place < 0 ? path : [path[0], place, ...path.slice(2)], was: now, now: was, element: changed };
  });
}
