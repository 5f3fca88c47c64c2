// What a maker can do, each step once: the mouse, the keyboard and the lists all call these.

import { nearestOn, plus, times, turned } from "./geometry.js";

export class Steps {
  constructor(job, chosen) {
    this.job = job;
    this.chosen = chosen;
    this.owed = null; // nudges not yet sent: {id, by: [x, y], turn}
  }

  addKey(at) {
    return this.job.change(
      () => ({ do: "add_key", at }),
      "Key added.",
      () => ({ kind: "key", at }),
    );
  }

  moveKey(id, centre, angle = null) {
    const action = { do: "move_key", key: id, centre, ...(angle === null ? {} : { angle_deg: angle }) };
    return this.job.change(
      () => action,
      `${id} moved; it is fixed now.`,
      () => ({ kind: "key", at: centre }),
    );
  }

  turnKey(id, angle) {
    return this.job.change(
      () => ({ do: "move_key", key: id, angle_deg: upright(angle) }),
      `${id} turned; it is fixed now.`,
    );
  }

  /** Move or turn the chosen key a little; quick repeats are sent together. [mm], [deg] */
  nudge(by, turn = 0) {
    const key = this.chosen.key;
    if (!key) return;
    if (this.owed) {
      this.owed = { by: plus(this.owed.by, by), turn: this.owed.turn + turn };
      return;
    }
    this.owed = { by, turn };
    this.job.change(
      () => {
        const { by: sum, turn: whole } = this.owed;
        this.owed = null;
        const now = this.chosen.key;
        if (!now) return null;
        return {
          do: "move_key",
          key: now.id,
          centre: plus(now.centre, sum),
          ...(whole ? { angle_deg: upright(now.angle_deg + whole) } : {}),
        };
      },
      turn ? "Key turned." : "Key moved.",
      (action) => ({ kind: "key", at: action.centre }),
    );
  }

  /** Move the chosen key along its crack (or across it). [mm] */
  slide(along, across = 0) {
    const key = this.chosen.key;
    const line = key && crackUnder(this.job.state, key);
    if (!line) {
      this.nudge([along, across]);
      return;
    }
    const here = nearestOn(line.centreline, key.centre);
    const direction = here.along[0] < 0 ? times(here.along, -1) : here.along;
    this.nudge(plus(times(direction, along), times([-direction[1], direction[0]], across)));
  }

  resizeKey(id, size) {
    return this.job.change(() => ({ do: "resize_key", key: id, ...size }), `${id} has its new size.`);
  }

  shapeKey(id, shape) {
    return this.job.change(() => ({ do: "shape_key", key: id, shape }), `${id} has its new shape.`);
  }

  refuseKey(id) {
    return this.job.change(() => ({ do: "refuse_key", key: id }), `${id} refused.`);
  }

  fixKey(id, fixed) {
    return this.job.change(
      () => ({ do: "fix_key", key: id, fixed }),
      fixed ? `${id} is fixed.` : `${id} may move again.`,
    );
  }

  countKeys(crack, keys) {
    return this.job.change(
      () => ({ do: "count_keys", crack, keys }),
      keys === null
        ? `${crack}: as many keys as suggested.`
        : keys === 0
          ? `${crack} is left open.`
          : `${crack}: ${keys} asked for.`,
    );
  }

  refuseCrack(id) {
    return this.job.change(() => ({ do: "refuse_crack", crack: id }), `${id} is no crack now.`);
  }

  drawCrack(points) {
    return this.job.change(
      () => ({ do: "draw_crack", points }),
      "Crack drawn; its edges were traced on the photo.",
      () => ({ kind: "crack", at: points[Math.floor(points.length / 2)] }),
    );
  }

  endCrack(id, end, at) {
    return this.job.change(() => ({ do: "end_crack", crack: id, end, at }), `${id} ends there now.`);
  }

  probeDepth(at, depth) {
    return this.job.change(
      () => ({ do: "probe_depth", at, depth }),
      depth === null ? "Probed depth taken away." : "Probed depth noted.",
    );
  }

  finishedTop(outline) {
    return this.job.change(
      () => ({ do: "finished_top", outline }),
      outline ? "Finished top set." : "Finished top taken away.",
    );
  }

  outline(outline) {
    return this.job.change(
      () => ({ do: "outline", outline }),
      outline ? "Slab edge set." : "Slab edge as measured again.",
    );
  }

  addKeepOut(area, { from, depth, note, screws }) {
    return this.job.change(() => ({ do: "add_keep_out", area, from, depth, note, screws }), "Area kept out.");
  }

  removeKeepOut(index) {
    return this.job.change(() => ({ do: "remove_keep_out", index }), "Keep-out area taken away.");
  }

  choosePlan(name) {
    return this.job.change(() => ({ do: "choose_plan", name }), "Plan chosen.");
  }
}

/** The crack that a key sits on (the nearest of those it bridges), or null. */
export function crackUnder(state, key) {
  const bridged = state.survey.cracks.filter((crack) => key.cracks.includes(crack.id));
  const gap = (crack) => nearestOn(crack.centreline, key.centre).gap;
  return bridged.sort((a, b) => gap(a) - gap(b))[0] ?? null;
}

/** An angle brought to (-180, 180]. [deg] */
export function upright(angle) {
  const rest = ((angle % 360) + 360) % 360;
  return rest > 180 ? rest - 360 : rest;
}

/** A key's outline with the key at another place and angle. */
export function outlineAt(key, centre, angle) {
  const shift = [centre[0] - key.centre[0], centre[1] - key.centre[1]];
  return key.polygon.map((point) => turned(plus(point, shift), centre, angle - key.angle_deg));
}

/** Where the turning handle of a key is: beyond one end of its length. [mm] */
export function handlePlace(centre, angle, length, beyond) {
  return turned([centre[0] + length / 2 + beyond, centre[1]], centre, angle);
}
