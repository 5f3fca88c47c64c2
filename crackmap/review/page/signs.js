// How each thing is drawn on the photo: always a light and a dark line together, so that it shows on any wood, and
// never by colour alone. The colours are those of the printed pictures (sheets/palette.py).

export const EDGE = "#7ff0ff";
export const CRACK = "#ffd21f";
export const VOID = "#0a1e8c";
export const KEY = "#c24dff";
export const INK = "#14161a";
export const PAPER = "#fafaf8";
export const DOUBTFUL_BELOW = 0.7; // a crack less sure than this is dashed and bears a question mark

/** Stroke a path given in millimetres with a casing; widths in CSS px, `px` millimetres a CSS pixel. */
export function cased(context, path, px, colour, casing, width, dash = null) {
  context.lineJoin = context.lineCap = "round";
  context.setLineDash([]);
  context.strokeStyle = casing;
  context.lineWidth = (width + 2.4) * px;
  context.stroke(path);
  if (dash) context.setLineDash(dash.map((part) => part * px));
  context.lineCap = dash ? "butt" : "round";
  context.strokeStyle = colour;
  context.lineWidth = width * px;
  context.stroke(path);
  context.setLineDash([]);
}

/** A closed or open path through points. [mm] */
export function pathOf(points, closed) {
  const path = new Path2D();
  points.forEach(([x, y], i) => (i ? path.lineTo(x, y) : path.moveTo(x, y)));
  if (closed) path.closePath();
  return path;
}

/** Both lips of a crack as one closed path. [mm] */
export function lipsOf(crack) {
  const { centreline, width } = crack;
  const [left, right] = [[], []];
  centreline.forEach((point, i) => {
    const before = centreline[Math.max(0, i - 3)];
    const after = centreline[Math.min(centreline.length - 1, i + 3)];
    const long = Math.hypot(after[0] - before[0], after[1] - before[1]) || 1;
    const half = Math.max(width[i] ?? 0, 0.1) / 2;
    const side = [(-(after[1] - before[1]) / long) * half, ((after[0] - before[0]) / long) * half];
    left.push([point[0] + side[0], point[1] + side[1]]);
    right.unshift([point[0] - side[0], point[1] - side[1]]);
  });
  return pathOf([...left, ...right], true);
}

/** Slanting lines over a box, to be clipped to a void or keep-out area. [mm] */
export function hatchOf([left, bottom, right, top], every) {
  const path = new Path2D();
  const high = top - bottom;
  for (let x = left - high; x < right; x += every) {
    path.moveTo(x, bottom);
    path.lineTo(x + high, top);
  }
  return path;
}

/** A plate with a text, the anchor at its middle. [CSS px] */
export function plate(context, text, [x, y], { ground, ink, rim, bold = true, dashed = false, size = 13 }) {
  context.font = fontOf(size, bold);
  const [width, height] = plateSize(context, text, size);
  context.beginPath();
  context.roundRect(x - width / 2, y - height / 2, width, height, 5);
  context.fillStyle = ground;
  context.fill();
  context.setLineDash(dashed ? [4, 3] : []);
  context.lineWidth = 1.5;
  context.strokeStyle = rim;
  context.stroke();
  context.setLineDash([]);
  context.fillStyle = ink;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillText(text, x, y + 0.5);
}

export function plateSize(context, text, size = 13) {
  context.font = fontOf(size, true);
  return [context.measureText(text).width + 12, size + 9];
}

/** A datum mark: a cross in a ring with its letter. [CSS px] */
export function target(context, [x, y], letter) {
  for (const [colour, width] of [
    [PAPER, 4.5],
    [INK, 1.8],
  ]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    context.arc(x, y, 9, 0, 2 * Math.PI);
    context.moveTo(x - 15, y);
    context.lineTo(x + 15, y);
    context.moveTo(x, y - 15);
    context.lineTo(x, y + 15);
    context.stroke();
  }
  plate(context, letter, [x + 22, y + 14], { ground: PAPER, ink: INK, rim: INK });
}

function fontOf(size, bold) {
  return `${bold ? 650 : 450} ${size}px system-ui, "Segoe UI", "DejaVu Sans", sans-serif`;
}
