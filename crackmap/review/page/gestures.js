// Mouse, pen and fingers on the photo: pan, zoom, choose, drag a key, its turning handle or a crack's end.

import { distance, inside, minus, nearestOn, plus, times } from "./geometry.js";
import { crackEnds, turnHandle } from "./scene.js";
import { crackUnder, upright } from "./steps.js";

const STARTS = { mouse: 4, pen: 6, touch: 9 }; // a press that moves less than this is a click [px]
const REACH = { mouse: 12, pen: 16, touch: 24 }; // handles are felt within [px]
const CLING = 7; // a dragged key clings to its crack's line within [px]
const TURN_STEP = 15; // with Shift the handle goes by steps of [deg]

export class Gestures {
  constructor(job, chosen, stage, steps, pointing, live) {
    Object.assign(this, { job, chosen, stage, steps, pointing, liveChecks: live });
    this.fingers = new Map(); // pointerId -> place
    this.press = null; // {kind, from, ...} of the one finger or button down
    const { canvas } = stage;
    canvas.addEventListener("pointerdown", (event) => this.#down(event));
    canvas.addEventListener("pointermove", (event) => this.#move(event));
    canvas.addEventListener("pointerup", (event) => this.#up(event));
    canvas.addEventListener("pointercancel", (event) => this.#cancel(event));
    canvas.addEventListener("pointerleave", () => {
      if (this.pointing.now && !this.press) stage.refresh(true);
    });
    canvas.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    canvas.addEventListener("dblclick", (event) => this.#double(event));
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  }

  /** Let go of what is being dragged, as if nothing had been done. */
  giveUp() {
    this.press = null;
    this.stage.live.drag = null;
    this.job.stopTrying();
    this.liveChecks.hide();
    this.stage.refresh(true);
  }

  #down(event) {
    if (event.button > 1) return;
    this.stage.canvas.setPointerCapture(event.pointerId);
    const place = this.stage.placeOf(event);
    this.fingers.set(event.pointerId, place);
    if (this.fingers.size === 2) {
      this.giveUp();
      this.press = { kind: "pinch", ...this.#pinch() };
      return;
    }
    if (this.fingers.size > 2) return;
    const target = event.button === 1 || this.pointing.now ? { kind: "pan" } : this.#under(place, event.pointerType);
    this.press = { ...target, from: place, last: place, began: false, type: event.pointerType };
  }

  #move(event) {
    const place = this.stage.placeOf(event);
    if (!this.fingers.has(event.pointerId)) {
      this.#hover(place, event.pointerType);
      return;
    }
    this.fingers.set(event.pointerId, place);
    const { press } = this;
    if (!press) return;
    if (press.kind === "pinch") {
      this.#pinched();
      return;
    }
    if (!press.began && distance(place, press.from) < (STARTS[press.type] ?? 6)) return;
    if (!press.began) this.#begin(press);
    if (press.kind === "key" && press.mayDrag) this.#dragKey(place, event);
    else if (press.kind === "turn") this.#dragTurn(place, event);
    else if (press.kind === "end") this.#dragEnd(place);
    else {
      this.stage.view.panBy(...minus(place, press.last));
      this.stage.refresh();
    }
    press.last = place;
  }

  #begin(press) {
    press.began = true;
    if (press.kind === "key" && press.mayDrag && !this.chosen.is("key", press.id)) this.chosen.pick("key", press.id);
  }

  #up(event) {
    const place = this.stage.placeOf(event);
    this.fingers.delete(event.pointerId);
    const { press } = this;
    this.press = null;
    if (!press) return;
    if (press.kind === "pinch") {
      if (this.fingers.size) this.press = { kind: "spent" };
      return;
    }
    if (press.kind === "spent") return;
    if (!press.began) this.#click(press, place);
    else this.#drop();
  }

  #cancel(event) {
    this.fingers.delete(event.pointerId);
    this.giveUp();
  }

  #click(press, place) {
    if (this.pointing.now) {
      this.pointing.put(place);
      return;
    }
    if (["key", "crack", "void"].includes(press.kind)) this.chosen.pick(press.kind, press.id);
    else if (press.kind === "pan") this.chosen.nothing();
  }

  #drop() {
    const { drag } = this.stage.live;
    this.job.stopTrying();
    this.liveChecks.hide();
    const done = () => {
      if (this.stage.live.drag === drag) this.stage.live.drag = null;
      this.stage.refresh(true);
    };
    if (drag?.kind === "key") this.steps.moveKey(drag.key.id, drag.centre, upright(drag.angle)).then(done);
    else if (drag?.kind === "end") this.steps.endCrack(drag.crack, drag.end, drag.at).then(done);
  }

  #dragKey(place, event) {
    const { view } = this.stage;
    const { key, grip } = this.press;
    let centre = plus(view.toSlab(place), grip);
    const crack = crackUnder(this.job.state, key);
    if (crack) {
      const near = nearestOn(crack.centreline, centre);
      if (event.shiftKey || (!event.altKey && near.gap * view.pxPerMm < CLING)) centre = near.at;
      else if (event.altKey) centre = acrossOnly(crack, key.centre, centre);
    }
    this.#show({ kind: "key", key, centre, angle: key.angle_deg });
  }

  #dragTurn(place, event) {
    const { key } = this.press;
    const [x, y] = minus(this.stage.view.toSlab(place), key.centre);
    let angle = (Math.atan2(y, x) * 180) / Math.PI;
    if (event.shiftKey) angle = Math.round(angle / TURN_STEP) * TURN_STEP;
    this.#show({ kind: "key", key, centre: key.centre, angle });
  }

  #dragEnd(place) {
    const { crack, end } = this.press;
    this.stage.live.drag = { kind: "end", crack, end, at: this.stage.view.toSlab(place) };
    this.stage.refresh(true);
  }

  #show(drag) {
    const known = this.stage.live.drag;
    this.stage.live.drag = { ...drag, ok: known?.ok ?? true };
    this.stage.refresh(true);
    const action = { do: "move_key", key: drag.key.id, centre: drag.centre, angle_deg: upright(drag.angle) };
    this.job.try(action, (answer, refusal) => {
      if (this.stage.live.drag?.kind !== "key") return;
      this.stage.live.drag.ok = Boolean(answer?.ok);
      this.liveChecks.show(
        drag.key.id,
        answer,
        refusal,
        answer ? givingWay(this.job.state, answer.key, drag.key.id) : [],
      );
      this.stage.refresh(true);
    });
  }

  #hover(place, type) {
    if (this.pointing.now) {
      this.pointing.hover(place);
      return;
    }
    const { kind } = this.#under(place, type);
    this.stage.canvas.style.cursor =
      { key: "pointer", crack: "pointer", void: "pointer", turn: "grab", end: "grab" }[kind] ?? "default";
  }

  /** What lies under a place: handles first, then the chosen key, other keys, cracks, voids, else the photo itself. */
  #under(place, type) {
    const { view } = this.stage;
    const reach = REACH[type] ?? 14;
    const point = view.toSlab(place);
    const { key: picked, crack: pickedCrack } = this.chosen;
    if (picked) {
      const [, handle] = turnHandle(view, picked, { centre: picked.centre, angle: picked.angle_deg });
      if (distance(place, handle) < reach + 4) return { kind: "turn", key: picked };
    }
    if (pickedCrack) {
      const gaps = crackEnds(pickedCrack).map((end) => distance(view.toScreen(end), place));
      const end = gaps[0] <= gaps[1] ? 0 : 1;
      if (gaps[end] < reach) return { kind: "end", crack: pickedCrack.id, end };
    }
    const { plan, survey } = this.job.state;
    const hits = plan.keys.filter((key) => inside(key.polygon, point));
    const key = hits.find((each) => each.id === picked?.id) ?? hits[0];
    // A finger that pans must not carry a key along: by touch only the chosen key is dragged.
    if (key)
      return {
        kind: "key",
        id: key.id,
        key,
        grip: minus(key.centre, point),
        mayDrag: type !== "touch" || key.id === picked?.id,
      };
    const near = survey.cracks
      .map((crack) => ({ id: crack.id, gap: nearestOn(crack.centreline, point).gap - crack.widest / 2 }))
      .sort((a, b) => a.gap - b.gap)[0];
    if (near && near.gap * view.pxPerMm < reach * 0.8) return { kind: "crack", id: near.id };
    const hole = survey.voids.find((each) => inside(each.polygon, point));
    return hole ? { kind: "void", id: hole.id } : { kind: "pan" };
  }

  #wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 33 : event.deltaMode === 2 ? 400 : 1;
    const place = this.stage.placeOf(event);
    // A pinch on a touchpad comes as a wheel with Ctrl, in smaller steps.
    const factor = Math.exp(-Math.max(-240, Math.min(240, event.deltaY * lines)) * (event.ctrlKey ? 0.01 : 0.0022));
    if (event.ctrlKey) this.stage.view.zoomAt(place, factor);
    else this.stage.view.glideAt(place, factor);
    this.stage.refresh();
  }

  #double(event) {
    if (this.pointing.now) {
      if (!this.pointing.now.single) this.pointing.finish();
      return;
    }
    this.stage.view.glideAt(this.stage.placeOf(event), event.shiftKey ? 0.4 : 2.5);
    this.stage.refresh();
  }

  #pinch() {
    const [a, b] = [...this.fingers.values()];
    return { middle: times(plus(a, b), 0.5), spread: Math.max(distance(a, b), 1) };
  }

  #pinched() {
    if (this.fingers.size < 2) return;
    const next = this.#pinch();
    this.stage.view.panBy(...minus(next.middle, this.press.middle));
    this.stage.view.zoomAt(next.middle, next.spread / this.press.spread);
    Object.assign(this.press, next);
    this.stage.refresh();
  }
}

/** The suggested keys that stand in the way of one moved there: the plan places them anew. */
function givingWay(state, moved, id) {
  const gap = Number(moved.checks.find((check) => check.name === "other keys")?.limit) || 0;
  const near = (key) =>
    key.polygon.some((point) => inside(moved.polygon, point) || nearestOn(moved.polygon, point).gap < gap);
  return state.plan.keys.filter((key) => key.id !== id && key.origin === "suggested" && near(key)).map((key) => key.id);
}

/** The place on a line square to the crack through the key's old centre that is nearest to `wanted`. [mm] */
function acrossOnly(crack, from, wanted) {
  const { along } = nearestOn(crack.centreline, from);
  const square = [-along[1], along[0]];
  const step = minus(wanted, from);
  return plus(from, times(square, step[0] * square[0] + step[1] * square[1]));
}
