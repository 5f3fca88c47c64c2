// What part of the picture is seen, and the crossing between slab millimetres and the screen.
//
// Frames: slab [mm], y up; picture [px], pixel centres at whole numbers; screen [CSS px] from the stage's corner.

import { boundsOf } from "./geometry.js";

const CLOSEST = 12; // screen pixels a picture pixel, at most
const FARTHEST = 0.5; // of the zoom that shows the whole picture, at least
const SETTLED = 0.002; // a smooth zoom ends within this share of its goal
const CALM = matchMedia("(prefers-reduced-motion: reduce)");

export class View {
  constructor(picture) {
    this.zoom = 1; // screen pixels a picture pixel
    this.origin = [0, 0]; // where the picture's corner is on the screen
    this.size = [1, 1];
    this.goal = null; // of a smooth zoom: {zoom, at}
    this.setPicture(picture);
  }

  setPicture(picture) {
    this.picture = picture;
    const [[a, b], [d, e]] = picture.slab_to_picture;
    this.picturePxPerMm = Math.sqrt(Math.abs(a * e - b * d));
  }

  /** Screen pixels a millimetre. */
  get pxPerMm() {
    return this.zoom * this.picturePxPerMm;
  }

  /** Take a new stage size, keeping its middle where it was. */
  resize(width, height) {
    this.origin = [this.origin[0] + (width - this.size[0]) / 2, this.origin[1] + (height - this.size[1]) / 2];
    this.size = [width, height];
  }

  /** Slab millimetres to the screen. */
  toScreen([x, y]) {
    const [[a, b, c], [d, e, f]] = this.picture.slab_to_picture;
    return [
      (a * x + b * y + c + 0.5) * this.zoom + this.origin[0],
      (d * x + e * y + f + 0.5) * this.zoom + this.origin[1],
    ];
  }

  /** The screen to slab millimetres. */
  toSlab([x, y]) {
    const [[a, b, c], [d, e, f]] = this.picture.slab_to_picture;
    const u = (x - this.origin[0]) / this.zoom - 0.5 - c;
    const v = (y - this.origin[1]) / this.zoom - 0.5 - f;
    const area = a * e - b * d;
    return [(e * u - b * v) / area, (a * v - d * u) / area];
  }

  /** A step on the screen as a step on the slab. [px] -> [mm] */
  stepToSlab([x, y]) {
    const [from, to] = [this.toSlab([0, 0]), this.toSlab([x, y])];
    return [to[0] - from[0], to[1] - from[1]];
  }

  /** Six numbers for CanvasRenderingContext2D.setTransform that take slab millimetres to device pixels. */
  matrix(ratio) {
    const [[a, b, c], [d, e, f]] = this.picture.slab_to_picture;
    const k = this.zoom * ratio;
    return [a * k, d * k, b * k, e * k, (c + 0.5) * k + this.origin[0] * ratio, (f + 0.5) * k + this.origin[1] * ratio];
  }

  panBy(dx, dy) {
    this.goal = null;
    this.origin = [this.origin[0] + dx, this.origin[1] + dy];
    this.#keepInSight();
  }

  /** Zoom about a place on the screen, at once. */
  zoomAt([x, y], factor) {
    const next = Math.max(this.#least(), Math.min(CLOSEST, this.zoom * factor));
    const share = next / this.zoom;
    this.origin = [x - (x - this.origin[0]) * share, y - (y - this.origin[1]) * share];
    this.zoom = next;
    this.#keepInSight();
  }

  /** Zoom about a place on the screen in a few frames. */
  glideAt(at, factor) {
    const from = this.goal?.zoom ?? this.zoom;
    this.goal = { zoom: Math.max(this.#least(), Math.min(CLOSEST, from * factor)), at };
    if (CALM.matches) {
      this.zoomAt(at, this.goal.zoom / this.zoom);
      this.goal = null;
    }
  }

  /** One frame of a smooth zoom; true while it goes on. */
  step() {
    if (!this.goal) return false;
    const left = Math.log(this.goal.zoom / this.zoom);
    if (Math.abs(left) < SETTLED) {
      this.zoomAt(this.goal.at, this.goal.zoom / this.zoom);
      this.goal = null;
      return false;
    }
    this.zoomAt(this.goal.at, Math.exp(left * 0.38));
    return true;
  }

  /** Show all of these slab points, with a border all round. [mm] */
  show(points, border = [72, 40, 72, 84]) {
    const [[a, b, c], [d, e, f]] = this.picture.slab_to_picture;
    const [left, top, right, bottom] = boundsOf(points.map(([x, y]) => [a * x + b * y + c, d * x + e * y + f]));
    const [width, height] = [this.size[0] - border[0] - border[2], this.size[1] - border[1] - border[3]];
    this.goal = null;
    this.zoom = Math.max(0.001, Math.min(CLOSEST, width / (right - left + 1), height / (bottom - top + 1)));
    this.origin = [
      border[0] + (width - (left + right) * this.zoom) / 2,
      border[1] + (height - (top + bottom) * this.zoom) / 2,
    ];
  }

  /** Pan so that a slab point is well inside the stage; true if it had to move. [mm] */
  bringIn(point, border = 90) {
    const [x, y] = this.toScreen(point);
    if (x > border && x < this.size[0] - border && y > border && y < this.size[1] - border - 40) return false;
    this.panBy(this.size[0] / 2 - x, this.size[1] / 2 - y);
    return true;
  }

  #least() {
    const { width, height } = this.picture;
    return FARTHEST * Math.min(this.size[0] / width, this.size[1] / height);
  }

  #keepInSight() {
    const spans = [this.picture.width * this.zoom, this.picture.height * this.zoom];
    for (const i of [0, 1]) {
      const margin = Math.min(120, this.size[i] / 3);
      this.origin[i] = Math.min(this.size[i] - margin, Math.max(margin - spans[i], this.origin[i]));
    }
  }
}
