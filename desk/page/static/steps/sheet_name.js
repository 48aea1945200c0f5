// Names of the built-in sheets, as `[frame] description` has them: `border-PAPER[-COPY][-dark]`.

export const PAPERS = [
  ["a4", "A4"],
  ["a3", "A3"],
  ["letter", "Letter"],
  ["tabloid", "Tabloid"],
];
const COPIES = [1, 2, 3, 4, 5];

/** `{ paper, sheet, dark }` of a built-in sheet's name, null for any other. */
export function parseName(name = "") {
  const match = /^border-([a-z0-9]+?)(?:-(\d+))?(-dark)?$/.exec(name);
  return match ? { paper: match[1], sheet: Number(match[2] ?? 1), dark: Boolean(match[3]) } : null;
}

export const nameOf = ({ paper, sheet, dark }) =>
  `border-${paper}${sheet > 1 ? `-${sheet}` : ""}${dark ? "-dark" : ""}`;

/** The job's frames as a list, whether the file has one table or several. */
export const listed = (frame) => (isList(frame) ? frame : frame ? [frame] : []);

export const isList = (frame) => Array.isArray(frame);

/** The name of a further sheet after those of the job: like the first, the next copy that is free. */
export function another(frames) {
  const used = new Set(frames.map(({ description }) => parseName(description)?.sheet));
  const free = COPIES.find((n) => !used.has(n)) ?? COPIES.at(-1);
  return nameOf({ ...(parseName(frames[0]?.description) ?? { paper: "a4", dark: false }), sheet: free });
}
