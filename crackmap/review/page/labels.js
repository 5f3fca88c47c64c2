// Where the numbers go: beside their things, not on one another, worked out anew only when the zoom or the job changes.

import { DOUBTFUL_BELOW, plateSize } from "./signs.js";
import { centreOf, middleOf } from "./geometry.js";

const CLEAR = 6; // gap between plates [px]
const AROUND = [
  [1, -1],
  [1, 1],
  [-1, -1],
  [-1, 1],
  [0, -1],
  [0, 1],
  [1, 0],
  [-1, 0],
];
const TEXT_SIZE = 13;
const ROOM = 24; // a key wider than its plate by this much bears it on its lobe [px]
const LOBE = 0.29; // where a lobe's middle is, from the waist, over the key's length

/**
 * Labels with their places as offsets from their anchors, which hold while the photo is panned.
 * @returns {{text, kind, id, anchor: [mm], offset: [px]}[]}
 */
export function placeLabels(context, state, view, chosen) {
  const blocks = keyBoxes(state, view);
  const placed = [];
  for (const label of wishes(state, chosen)) {
    const [width, height] = plateSize(context, label.text, TEXT_SIZE);
    if (label.lobe && label.room * view.pxPerMm > width + ROOM) {
      placed.push({ ...label, anchor: label.lobe, offset: [0, 0] });
      continue;
    }
    const at = view.toScreen(label.anchor);
    const found = bestPlace(at, width, height, label.reach(view), blocks);
    if (found.burden > 0 && label.spare) continue;
    blocks.push(found.box);
    placed.push({ ...label, offset: [found.middle[0] - at[0], found.middle[1] - at[1]] });
  }
  return placed;
}

function wishes(state, chosen) {
  const { plan, survey } = state;
  const keys = plan.keys.map((key) => ({
    text: key.id + (key.checks.every((check) => check.ok) ? "" : " !"),
    kind: "key",
    id: key.id,
    anchor: key.centre,
    reach: (view) => (key.length * view.pxPerMm) / 2,
    spare: false,
    lobe: lobeOf(key),
    room: key.width,
  }));
  const cracks = survey.cracks.map((crack) => ({
    text: crack.id + (crack.confidence < DOUBTFUL_BELOW ? " ?" : ""),
    kind: "crack",
    id: crack.id,
    anchor: middleOf(crack.centreline),
    reach: () => 8,
    spare: !chosen.is("crack", crack.id),
  }));
  const voids = survey.voids.map((each) => ({
    text: each.id,
    kind: "void",
    id: each.id,
    anchor: centreOf(each.polygon),
    reach: () => 12,
    spare: !chosen.is("void", each.id),
  }));
  const first = (label) => (chosen.is(label.kind, label.id) ? 0 : 1);
  return [...keys, ...cracks, ...voids].sort((a, b) => first(a) - first(b));
}

/** A key's number goes at its end or its waist; a crack's beside it: the place that covers least. */
function bestPlace(at, width, height, reach, blocks) {
  let best = null;
  for (const share of [0.45, 0.75, 1.1, 1.5])
    for (const [dx, dy] of AROUND) {
      const middle = [
        at[0] + dx * (width / 2 + CLEAR + reach * share),
        at[1] + dy * (height / 2 + CLEAR + reach * share),
      ];
      const box = [
        middle[0] - width / 2 - 2,
        middle[1] - height / 2 - 2,
        middle[0] + width / 2 + 2,
        middle[1] + height / 2 + 2,
      ];
      const burden = blocks.reduce((sum, other) => sum + overlap(box, other), 0);
      if (!best || burden < best.burden) best = { middle, box, burden };
      if (burden === 0) return best;
    }
  return best;
}

/** The middle of the lobe away from the turning handle. [mm] */
export function lobeOf({ centre, angle_deg: angle, length }) {
  const turn = (angle * Math.PI) / 180;
  return [centre[0] - Math.cos(turn) * length * LOBE, centre[1] - Math.sin(turn) * length * LOBE];
}

function keyBoxes(state, view) {
  return state.plan.keys.map((key) => {
    const points = key.polygon.map((point) => view.toScreen(point));
    const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
    return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  });
}

function overlap(a, b) {
  const wide = Math.min(a[2], b[2]) - Math.max(a[0], b[0]);
  const high = Math.min(a[3], b[3]) - Math.max(a[1], b[1]);
  return wide > 0 && high > 0 ? wide * high : 0;
}
