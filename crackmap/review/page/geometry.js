// Plane geometry on [x, y] pairs.

export const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
export const plus = (a, b) => [a[0] + b[0], a[1] + b[1]];
export const minus = (a, b) => [a[0] - b[0], a[1] - b[1]];
export const times = (a, k) => [a[0] * k, a[1] * k];

/** `point` turned about `centre`. [deg, anticlockwise] */
export function turned(point, centre, degrees) {
  const [s, c] = [Math.sin((degrees * Math.PI) / 180), Math.cos((degrees * Math.PI) / 180)];
  const [x, y] = minus(point, centre);
  return [centre[0] + c * x - s * y, centre[1] + s * x + c * y];
}

/** The nearest place on a line of points: {at, gap, along} with the unit direction there. */
export function nearestOn(line, point) {
  let best = { at: line[0], gap: Infinity, along: [1, 0] };
  for (let i = 0; i + 1 < line.length; i++) {
    const [a, b] = [line[i], line[i + 1]];
    const step = minus(b, a);
    const long2 = step[0] ** 2 + step[1] ** 2;
    const share = long2
      ? Math.max(0, Math.min(1, ((point[0] - a[0]) * step[0] + (point[1] - a[1]) * step[1]) / long2))
      : 0;
    const at = plus(a, times(step, share));
    const gap = distance(at, point);
    if (gap < best.gap) best = { at, gap, along: directionAt(line, i) };
  }
  return best;
}

/** Unit direction of a line round its i-th piece, over a few points so that a traced line's noise is smoothed. */
export function directionAt(line, i, reach = 4) {
  const step = minus(line[Math.min(line.length - 1, i + reach)], line[Math.max(0, i - reach)]);
  const long = Math.hypot(...step);
  return long ? times(step, 1 / long) : [1, 0];
}

/** True where the point is inside the polygon (even-odd). */
export function inside(polygon, [x, y]) {
  let within = false;
  for (let i = 0, j = polygon.length - 1; i < polygon.length; j = i++) {
    const [[x1, y1], [x2, y2]] = [polygon[i], polygon[j]];
    if (y1 > y !== y2 > y && x < ((x2 - x1) * (y - y1)) / (y2 - y1) + x1) within = !within;
  }
  return within;
}

/** The point half-way along a line of points. */
export function middleOf(line) {
  const steps = line.slice(1).map((point, i) => distance(point, line[i]));
  let left = steps.reduce((sum, step) => sum + step, 0) / 2;
  for (let i = 0; i < steps.length; i++) {
    if (left <= steps[i] && steps[i] > 0) return plus(line[i], times(minus(line[i + 1], line[i]), left / steps[i]));
    left -= steps[i];
  }
  return line[0];
}

/** [least x, least y, greatest x, greatest y] of points. */
export function boundsOf(points) {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const [x, y] of points) {
    box[0] = Math.min(box[0], x);
    box[1] = Math.min(box[1], y);
    box[2] = Math.max(box[2], x);
    box[3] = Math.max(box[3], y);
  }
  return box;
}

/** The mean of a polygon's corners. */
export function centreOf(points) {
  return times(points.reduce(plus, [0, 0]), 1 / points.length);
}
