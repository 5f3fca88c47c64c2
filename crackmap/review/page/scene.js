// Everything that lies over the photo, drawn from the job's state. Paths are made once a state, in millimetres.

import { boundsOf, distance } from "./geometry.js";
import { lobeOf, placeLabels } from "./labels.js";
import {
  CRACK,
  DOUBTFUL_BELOW,
  EDGE,
  INK,
  KEY,
  PAPER,
  VOID,
  cased,
  hatchOf,
  lipsOf,
  pathOf,
  plate,
  target,
} from "./signs.js";
import { handlePlace, outlineAt } from "./steps.js";
import { shown } from "./lengths.js";

export const HANDLE_BEYOND = 30; // the turning handle lies so far past a key's end [CSS px]
const BAND = "rgba(255, 106, 61, 0.34)"; // ground where a key's margins would not be kept
const FAR = 60; // a number farther from its thing gets a line to it [CSS px]
const NARROW = 1120; // [CSS px]
const RELABEL = 1.08; // labels are placed anew when the zoom changed by more

export class Scene {
  constructor(job, chosen) {
    this.job = job;
    this.chosen = chosen;
    this.labels = null;
    const stale = () => {
      this.labels = null;
    };
    job.addEventListener("state", () => {
      this.paths = this.#paths(job.state);
      stale();
    });
    chosen.addEventListener("chosen", stale);
  }

  #paths({ survey, plan, edits }) {
    const area = (points) => ({ path: pathOf(points, true), box: boundsOf(points) });
    return {
      outline: pathOf(survey.outline, true),
      voids: survey.voids.map((each) => ({ id: each.id, ...area(each.polygon) })),
      cracks: survey.cracks.map((crack) => ({ crack, path: lipsOf(crack) })),
      keys: plan.keys.map((key) => ({ key, path: pathOf(key.polygon, true) })),
      top: edits.finished_top ? pathOf(edits.finished_top, true) : null,
      keepOut: edits.keep_out.map((each) => ({ ...each, ...area(each.area) })),
    };
  }

  /**
   * Draw over the photo.
   * @param {object} live what is under way: `drag` (a key or a crack's end), `pointing`, `reticle`
   */
  draw(context, view, ratio, live) {
    const canvas = context.canvas;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, canvas.width, canvas.height);
    const px = 1 / view.pxPerMm;
    context.setTransform(...view.matrix(ratio));
    this.#ground(context, px, live);
    this.#cracks(context, px);
    this.#keys(context, px, live);
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.#marks(context, view);
    this.#labels(context, view, live);
    this.#handles(context, view, live);
    this.#pointing(context, view, live);
    scaleBar(context, view);
  }

  #ground(context, px, live) {
    const { outline, voids, top, keepOut } = this.paths;
    cased(context, outline, px, EDGE, INK, 1.8);
    if (live.drag?.kind === "key") this.#margins(context, live.drag.key);
    for (const { path, box } of voids) {
      hatched(context, path, box, px, 7, VOID, PAPER);
      cased(context, path, px, VOID, PAPER, 1.8);
    }
    if (top) cased(context, top, px, PAPER, INK, 1.8, [14, 4, 3, 4]);
    for (const area of keepOut) {
      hatched(context, area.path, area.box, px, 12, "#8a1c0a", PAPER);
      cased(context, area.path, px, "#ff8f70", INK, 1.8, area.from === "below" ? [6, 4] : null);
    }
  }

  #cracks(context, px) {
    for (const { crack, path } of this.paths.cracks) {
      const picked = this.chosen.is("crack", crack.id);
      const doubtful = crack.confidence < DOUBTFUL_BELOW;
      if (picked) cased(context, path, px, PAPER, INK, 5.5);
      cased(context, path, px, CRACK, INK, picked ? 2.4 : 1.4, doubtful ? [7, 5] : null);
    }
  }

  #keys(context, px, live) {
    for (const { key, path } of this.paths.keys) {
      const away = live.drag?.kind === "key" && live.drag.key.id === key.id;
      if (away) {
        context.globalAlpha = 0.3;
        cased(context, path, px, KEY, INK, 1.2, [4, 4]);
        context.globalAlpha = 1;
        continue;
      }
      this.#key(
        context,
        px,
        path,
        this.chosen.is("key", key.id),
        key.checks.every((check) => check.ok),
      );
    }
    if (live.drag?.kind !== "key") return;
    const { key, centre, angle, ok } = live.drag;
    this.#key(context, px, pathOf(outlineAt(key, centre, angle), true), true, ok);
  }

  /** A key: filled and cased; one that fails a check has a broken outline, the chosen one a second line round it. */
  #key(context, px, path, picked, ok) {
    context.fillStyle = picked ? "rgba(194, 77, 255, 0.26)" : "rgba(194, 77, 255, 0.36)";
    context.fill(path);
    if (picked) cased(context, path, px, PAPER, INK, 6);
    cased(context, path, px, KEY, INK, 2, ok ? null : [6, 4]);
  }

  /** While a key is dragged: bands that its outline must stay out of, as wide as its own checks ask. */
  #margins(context, key) {
    const limit = (name) => Number(key.checks.find((check) => check.name === name)?.limit) || 0;
    const { outline, voids, keys, top, keepOut } = this.paths;
    context.strokeStyle = context.fillStyle = BAND;
    context.lineJoin = "round";
    const band = (path, wide) => {
      if (wide) {
        context.lineWidth = 2 * wide;
        context.stroke(path);
      }
    };
    context.save();
    context.clip(outline);
    band(outline, limit("slab edge"));
    if (top) band(top, limit("finished top"));
    for (const each of voids) band(each.path, limit("voids"));
    for (const each of keepOut) band(each.path, limit("keep-out"));
    for (const each of keys) if (each.key.id !== key.id) band(each.path, limit("other keys"));
    context.restore();
  }

  #marks(context, view) {
    const { datum, edits } = this.job.state;
    target(context, view.toScreen(datum.a), "A");
    target(context, view.toScreen(datum.b), "B");
    for (const [x, y, depth] of edits.probed) {
      const at = view.toScreen([x, y]);
      dot(context, at, 4, CRACK, INK);
      plate(context, `↓ ${shown(depth)}`, [at[0], at[1] + 20], { ground: INK, ink: CRACK, rim: CRACK, size: 12 });
    }
    for (const area of this.paths.keepOut) for (const screw of area.screws ?? []) cross(context, view.toScreen(screw));
  }

  #labels(context, view, live) {
    if (!this.labels || Math.max(view.zoom / this.labels.zoom, this.labels.zoom / view.zoom) > RELABEL)
      this.labels = { zoom: view.zoom, all: placeLabels(context, this.job.state, view, this.chosen) };
    const looks = {
      key: { ground: PAPER, ink: INK, rim: KEY },
      crack: { ground: INK, ink: CRACK, rim: INK },
      void: { ground: PAPER, ink: VOID, rim: VOID },
    };
    for (const { text, kind, id, anchor, offset, lobe } of this.labels.all) {
      const moving = kind === "key" && live.drag?.kind === "key" && live.drag.key.id === id;
      const { key, centre, angle } = live.drag ?? {};
      const moved = moving && (anchor === lobe ? lobeOf({ centre, angle_deg: angle, length: key.length }) : centre);
      const at = view.toScreen(moved || anchor);
      const middle = [at[0] + offset[0], at[1] + offset[1]];
      if (Math.hypot(...offset) > FAR) leader(context, middle, at);
      const look = this.chosen.is(kind, id) ? { ground: KEY, ink: INK, rim: PAPER } : looks[kind];
      plate(context, text, middle, { ...look, dashed: text.endsWith("!") || text.endsWith("?") });
    }
  }

  #handles(context, view, live) {
    if (live.pointing) return;
    const key = this.chosen.key;
    if (key) {
      const drag = live.drag?.kind === "key" ? live.drag : { centre: key.centre, angle: key.angle_deg };
      const [from, to] = turnHandle(view, key, drag);
      leader(context, from, to);
      dot(context, to, 9, PAPER, INK);
      context.strokeStyle = INK;
      context.lineWidth = 1.8;
      context.beginPath();
      context.arc(...to, 4.6, 0.4, 4.9);
      context.stroke();
      dot(context, view.toScreen(drag.centre), 3, PAPER, INK);
    }
    const crack = this.chosen.crack;
    if (!crack) return;
    crackEnds(crack).forEach((end, i) => {
      const drag = live.drag?.kind === "end" && live.drag.end === i ? live.drag.at : end;
      if (drag !== end) leader(context, view.toScreen(end), view.toScreen(drag));
      dot(context, view.toScreen(drag), 7, PAPER, INK);
    });
  }

  #pointing(context, view, { pointing, reticle }) {
    if (!pointing) return;
    const points = pointing.points.map((point) => view.toScreen(point));
    const line = reticle && points.length && !pointing.single ? [...points, reticle] : points;
    if (line.length > 1) {
      const path = pathOf(line, pointing.closed && line.length > 2);
      cased(context, path, 1, pointing.closed ? "#ff8f70" : CRACK, INK, 2, [8, 4]);
    }
    for (const point of points) dot(context, point, 5, PAPER, INK);
    if (reticle) crosshair(context, reticle);
  }
}

/** The two ends of a crack. [mm] */
export const crackEnds = (crack) => [crack.centreline[0], crack.centreline[crack.centreline.length - 1]];

/** From a key's end to its turning handle. [CSS px] */
export function turnHandle(view, key, { centre, angle }) {
  const at = (beyond) => view.toScreen(handlePlace(centre, angle, key.length, beyond));
  return [at(0), at(HANDLE_BEYOND / view.pxPerMm)];
}

function hatched(context, path, box, px, every, dark, light) {
  context.save();
  context.clip(path);
  // A void a few pixels wide needs no more than its outline.
  if (box[2] - box[0] > 2 * px * every) cased(context, hatchOf(box, every * px), px, dark, light, 1);
  context.restore();
}

function dot(context, [x, y], radius, fill, rim) {
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  context.fillStyle = fill;
  context.fill();
  context.lineWidth = 2;
  context.strokeStyle = rim;
  context.stroke();
}

function leader(context, from, to) {
  if (distance(from, to) < 2) return;
  for (const [colour, width] of [
    [INK, 3.6],
    [PAPER, 1.4],
  ]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    context.moveTo(...from);
    context.lineTo(...to);
    context.stroke();
  }
}

function cross(context, [x, y]) {
  dot(context, [x, y], 6, PAPER, INK);
  context.beginPath();
  context.moveTo(x - 4, y);
  context.lineTo(x + 4, y);
  context.moveTo(x, y - 4);
  context.lineTo(x, y + 4);
  context.stroke();
}

function crosshair(context, [x, y]) {
  for (const [colour, width] of [
    [INK, 4],
    [PAPER, 1.6],
  ]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    for (const [dx, dy] of [
      [1, 0],
      [-1, 0],
      [0, 1],
      [0, -1],
    ]) {
      context.moveTo(x + dx * 5, y + dy * 5);
      context.lineTo(x + dx * 18, y + dy * 18);
    }
    context.stroke();
  }
}

/** A bar of a round length at the lower left: it says how large things are at this zoom. */
function scaleBar(context, view) {
  const inches = shown(1).endsWith("in");
  const steps = inches
    ? [1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 5, 10, 20, 50].map((n) => n * 25.4)
    : [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000];
  const long = steps.findLast((mm) => mm * view.pxPerMm <= 150) ?? steps[0];
  // On a narrow stage the strip of things to do lies across the bottom.
  const [x, y, wide] = [16, view.size[1] - (view.size[0] < NARROW ? 92 : 18), long * view.pxPerMm];
  context.fillStyle = PAPER;
  context.strokeStyle = INK;
  context.lineWidth = 1.5;
  context.fillRect(x - 8, y - 30, Math.max(wide, 60) + 16, 40);
  context.strokeRect(x - 8, y - 30, Math.max(wide, 60) + 16, 40);
  for (let i = 0; i < 4; i++) {
    context.fillStyle = i % 2 ? PAPER : INK;
    context.fillRect(x + (wide * i) / 4, y - 6, wide / 4, 7);
  }
  context.strokeRect(x, y - 6, wide, 7);
  context.fillStyle = INK;
  context.font = "600 13px system-ui, sans-serif";
  context.textAlign = "left";
  context.textBaseline = "alphabetic";
  context.fillText(shown(long, 0), x, y - 12);
}
