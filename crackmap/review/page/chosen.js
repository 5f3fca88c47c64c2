// What is chosen: one key, crack, void or keep-out area, or nothing. Found again by place after each change, as
// numbers may be given anew.

import { distance, middleOf, centreOf, nearestOn } from "./geometry.js";

const SAME_KEY = 60; // a key farther from where it should be is another key [mm]
const SAME_CRACK = 15; // likewise for a crack's middle from the old line [mm]

/** Event: "chosen" (detail {kind, id, by}). */
export class Chosen extends EventTarget {
  constructor(job) {
    super();
    this.job = job;
    this.kind = null;
    this.id = null;
    job.addEventListener("state", ({ detail }) => this.#follow(detail));
  }

  /** Choose a thing; `by` says who asked, so that the photo moves only when a list did. */
  pick(kind, id, by = "stage") {
    [this.kind, this.id] = [kind, id];
    this.dispatchEvent(new CustomEvent("chosen", { detail: { kind, id, by } }));
  }

  nothing(by = "stage") {
    this.pick(null, null, by);
  }

  is(kind, id) {
    return this.kind === kind && this.id === id;
  }

  get key() {
    return this.kind === "key" ? (this.job.state.plan.keys.find((k) => k.id === this.id) ?? null) : null;
  }
  get crack() {
    return this.kind === "crack" ? (this.job.state.survey.cracks.find((c) => c.id === this.id) ?? null) : null;
  }
  get void() {
    return this.kind === "void" ? (this.job.state.survey.voids.find((v) => v.id === this.id) ?? null) : null;
  }

  /** Where the chosen thing is on the slab, or null. [mm] */
  get at() {
    if (this.key) return this.key.centre;
    if (this.crack) return middleOf(this.crack.centreline);
    return this.void ? centreOf(this.void.polygon) : null;
  }

  /** The next thing of the same kind (keys where nothing is chosen). */
  next(step) {
    const kind = this.kind ?? "key";
    const { plan, survey } = this.job.state;
    const all = { key: plan.keys, crack: survey.cracks, void: survey.voids }[kind];
    if (!all?.length) return;
    const now = all.findIndex((each) => each.id === this.id);
    this.pick(
      kind,
      all[now < 0 ? (step > 0 ? 0 : all.length - 1) : (now + step + all.length) % all.length].id,
      "keyboard",
    );
  }

  #follow({ before, after, expected }) {
    const wanted = expected ?? this.#placeIn(before);
    if (!wanted) return;
    const [kind, at] = [wanted.kind, wanted.at];
    this.kind = kind;
    this.id =
      kind === "key"
        ? nearest(after.plan.keys, (key) => distance(key.centre, at), SAME_KEY)
        : kind === "crack"
          ? nearest(after.survey.cracks, (crack) => nearestOn(crack.centreline, at).gap, SAME_CRACK)
          : nearest(after.survey.voids, (each) => distance(centreOf(each.polygon), at), SAME_CRACK);
    if (this.id === null) this.kind = null;
    if (expected)
      this.dispatchEvent(new CustomEvent("chosen", { detail: { kind: this.kind, id: this.id, by: "change" } }));
  }

  #placeIn(state) {
    if (!state || !this.kind) return null;
    const key = this.kind === "key" && state.plan.keys.find((each) => each.id === this.id);
    const crack = this.kind === "crack" && state.survey.cracks.find((each) => each.id === this.id);
    const hole = this.kind === "void" && state.survey.voids.find((each) => each.id === this.id);
    if (key) return { kind: "key", at: key.centre };
    if (crack) return { kind: "crack", at: middleOf(crack.centreline) };
    return hole ? { kind: "void", at: centreOf(hole.polygon) } : null;
  }
}

function nearest(all, gap, most) {
  let [best, least] = [null, most];
  for (const each of all) {
    const far = gap(each);
    if (far < least) [best, least] = [each.id, far];
  }
  return best;
}
