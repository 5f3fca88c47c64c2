// Lengths in and out. Millimetres inside, always; inches only here.

const MM_PER_INCH = 25.4; // exact, as crackmap/units.py says
const PLACE = "crackmap-units";
const TO_MM = {
  mm: 1,
  cm: 10,
  m: 1000,
  in: MM_PER_INCH,
  inch: MM_PER_INCH,
  inches: MM_PER_INCH,
  '"': MM_PER_INCH,
  "″": MM_PER_INCH,
  "”": MM_PER_INCH,
};
const LENGTH = new RegExp(
  "^\\s*([-+−]?)\\s*(?:(\\d+)\\s*[- ]\\s*(\\d+)\\s*/\\s*(\\d+)|(\\d+)\\s*/\\s*(\\d+)|(\\d+(?:[.,]\\d+)?|[.,]\\d+))" +
    '\\s*(mm|cm|m|inches|inch|in|"|″|”)?\\s*$',
  "i",
);

let unit = "mm";

/** Take the job's unit, unless the maker switched in this browser. */
export function startUnits(ofJob) {
  let kept = null;
  try {
    kept = localStorage.getItem(PLACE);
  } catch {
    /* nothing kept */
  }
  unit = kept === "mm" || kept === "in" ? kept : ofJob === "in" ? "in" : "mm";
}

/** "mm" or "in". */
export function units() {
  return unit;
}

/** Show the other unit from now on. */
export function switchUnits() {
  unit = unit === "mm" ? "in" : "mm";
  try {
    localStorage.setItem(PLACE, unit);
  } catch {
    /* nothing kept */
  }
}

/** A length without its unit: "45.0", or "1-3/4" to a sixteenth. [mm] in */
export function bare(mm, digits = 1) {
  return unit === "in" ? fraction(mm) : noMinusZero(mm.toFixed(digits));
}

/** A length with its unit: "45.0 mm", or "1-3/4 in". [mm] in */
export function shown(mm, digits = 1) {
  return `${bare(mm, digits)} ${unit}`;
}

/** A small length, for widths and margins: "3.5 mm", or "0.14 in". [mm] in */
export function fine(mm) {
  return unit === "in" ? `${noMinusZero((mm / MM_PER_INCH).toFixed(2))} in` : `${noMinusZero(mm.toFixed(1))} mm`;
}

/** Inches to the nearest sixteenth, as the sheets write them. [mm] in */
function fraction(mm) {
  const parts = Math.round((Math.abs(mm) / MM_PER_INCH) * 16);
  const sign = mm < 0 && parts ? "-" : "";
  const whole = Math.floor(parts / 16);
  let [n, d] = [parts % 16, 16];
  if (n === 0) return `${sign}${whole}`;
  while (n % 2 === 0) [n, d] = [n / 2, d / 2];
  return `${sign}${whole ? `${whole}-` : ""}${n}/${d}`;
}

/** The length that a maker typed, in mm, or NaN; a bare number is in the shown unit. */
export function parse(text) {
  const match = LENGTH.exec(text);
  if (!match) return NaN;
  const [, sign, whole, n1, d1, n2, d2, number, named] = match;
  const size =
    number !== undefined ? Number(number.replace(",", ".")) : Number(whole ?? 0) + Number(n1 ?? n2) / Number(d1 ?? d2);
  const mm = size * TO_MM[(named ?? unit).toLowerCase()];
  return Number.isFinite(mm) ? (sign === "-" || sign === "−" ? -mm : mm) : NaN;
}

function noMinusZero(text) {
  return /^-0(\.0*)?$/.test(text) ? text.slice(1) : text;
}
