// Times at the machine.

import { lengthIn } from "./quantities.js";

/** Minutes rounded up, in hours from one hour on: `58 min`, `1 h 27 min`. */
export function duration(minutes) {
  const whole = Math.ceil(minutes - 1e-9);
  if (whole < 60) return `${whole} min`;
  const rest = whole % 60;
  return rest ? `${Math.floor(whole / 60)} h ${rest} min` : `${whole / 60} h`;
}

/** One line of the table: what the step-down is, how many passes it takes, how long. */
export const timeRow = (unit, { step_down, passes, minutes }) => ({
  stepDown: lengthIn(unit, step_down),
  passes: String(passes),
  time: duration(minutes),
});
