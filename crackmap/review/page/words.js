// Figures and sentences as people read them.

import { fine, shown } from "./lengths.js";

/** A check's value or limit with its unit; texts such as "over 25" keep their word. */
export function figure(value, unit) {
  const match = typeof value === "number" ? [null, "", value] : /^(\D*?)\s*(-?\d+(?:\.\d+)?)$/.exec(String(value));
  if (!match) return `${value}${unit && unit !== "mm" ? ` ${unit}` : ""}`;
  const [lead, number] = [match[1] ? `${match[1]} ` : "", Number(match[2])];
  if (unit === "mm") return lead + fine(number);
  if (unit === "deg") return `${lead}${plain(number)}°`;
  if (unit === "mm2") return `${lead}${plain(number)} mm²`;
  return `${lead}${plain(number)}${unit ? ` ${unit}` : ""}`;
}

/** "slab edge: 6.2 mm, limit 12.0 mm" */
export function checkLine(check) {
  return `${check.name}: ${figure(check.value, check.unit)}, limit ${figure(check.limit, check.unit)}`;
}

export const failing = (key) => key.checks.filter((check) => !check.ok);

/** "all 18 checks kept" or "2 checks not kept". */
export function verdict(key) {
  const bad = failing(key).length;
  return bad ? `${counted(bad, "check")} not kept` : `all ${key.checks.length} checks kept`;
}

export const counted = (number, noun) => `${number} ${noun}${number === 1 ? "" : "s"}`;
export const plain = (number, digits = 2) => String(Number(number.toFixed(digits)));
export const ml = (volume) => (volume >= 10 ? `${volume.toFixed(0)} ml` : `${volume.toFixed(1)} ml`);
export const place = ([x, y]) => `${shown(x)}, ${shown(y)}`;

const ORIGINS = { suggested: "suggested", added: "added by you", fixed: "fixed by you" };
export const origin = (key) => ORIGINS[key.origin] ?? key.origin;

const ENDS = {
  edge: "the slab's edge",
  tip: "a tip",
  void: "a void",
  junction: "another crack",
  border: "the picture's border",
};
export const endWord = (end) => ENDS[end] ?? end;

/** What tells two ends of a line apart as the picture lies: left and right, or of a steep one lower and upper. */
export function endSides([[firstX, firstY], [lastX, lastY]]) {
  const [across, up] = [lastX - firstX, lastY - firstY];
  if (Math.abs(across) >= Math.abs(up)) return across >= 0 ? ["left", "right"] : ["right", "left"];
  return up >= 0 ? ["lower", "upper"] : ["upper", "lower"];
}
