// The measured points' distances from the outline as magnified bands along it.

const GAP_MM = 3; // between neighbouring points; beyond it the band is broken
const SHOWN = 600; // points of a photo at most, as the server thins them

const at = ([x, y]) => `${x.toFixed(2)} ${(-y).toFixed(2)}`;

/** One photo's bands, as closed SVG paths (y down): one for each stretch without a gap. */
export function deviationBands({ position, residual, foot, normal }, times, perimeter) {
  const gap = Math.max(GAP_MM, (3 * perimeter) / SHOWN);
  const stretches = [];
  position.forEach((place, i) => {
    if (!i || place - position[i - 1] > gap) stretches.push([]);
    stretches.at(-1).push(i);
  });
  const tip = (i) => foot[i].map((v, axis) => v + normal[i][axis] * residual[i] * times);
  return stretches
    .filter((stretch) => stretch.length > 1)
    .map((stretch) => {
      const base = stretch.map((i) => at(foot[i]));
      const tips = stretch.map((i) => at(tip(i))).reverse();
      return `M${base.join("L")}L${tips.join("L")}Z`;
    });
}
