// How this window shows things: its unit and its theme. Kept in the browser, never in the job.

const KEPT = "snugline-view";
const watchers = new Set();

const read = () => {
  try {
    return JSON.parse(localStorage.getItem(KEPT)) ?? {};
  } catch {
    return {};
  }
};

export const view = { unit: "mm", theme: "system", ...read() };

/** Change how things are shown, here and in the next visit. */
export function show(changes) {
  Object.assign(view, changes);
  try {
    localStorage.setItem(KEPT, JSON.stringify(view));
  } catch {
    // A browser that keeps nothing still shows what was chosen.
  }
  apply();
  watchers.forEach((watcher) => watcher());
}

/** Be told when the unit or the theme changes. */
export const onView = (watcher) => watchers.add(watcher);

export function apply() {
  document.documentElement.dataset.theme = view.theme;
}
