// Pointing at places on the photo: a key, a crack's line, an area, screws. By mouse, finger, or with a reticle
// that the arrow keys move.

import { button } from "./dom.js";
import { distance } from "./geometry.js";
import { counted } from "./words.js";

const SAME_PLACE = 3; // [CSS px]

const WAYS = {
  key: { word: "Add a key", icon: "key", single: true, prompt: "Point at a crack where a key should sit." },
  crack: { word: "Draw a crack", icon: "crack", least: 2, prompt: "Point along the crack, from end to end." },
  probe: {
    word: "Probe a depth",
    icon: "probe",
    single: true,
    prompt: "Point at the place where you measured the depth.",
  },
  top: {
    word: "Finished top",
    icon: "top",
    least: 3,
    closed: true,
    prompt: "Point at the corners of the finished top, in order.",
  },
  keep_out: {
    word: "Keep-out area",
    icon: "keep_out",
    least: 3,
    closed: true,
    prompt: "Point at the corners of the area where nothing may be cut.",
  },
  edge: {
    word: "Slab edge",
    icon: "edge",
    least: 3,
    closed: true,
    prompt: "Point along the edge of the show face, all the way round.",
  },
  screws: {
    word: "Screw places",
    icon: "screws",
    least: 0,
    loose: true,
    prompt: "Point at each screw of the base plate.",
  },
  end: { word: "Crack's end", icon: "crack", single: true, prompt: "Point at where this crack ends." },
};
const ON_STRIP = ["key", "crack", "probe", "top", "keep_out"];

export class Pointing {
  /** `stage` shows the points; events: none, the caller of `start` gets the points. */
  constructor(stage) {
    this.stage = stage;
    this.now = null; // {way, points, done, ...}
    this.strip = document.getElementById("strip");
    this.bar = document.getElementById("pointing");
    this.starters = {};
  }

  /** Fill the strip: `starters` says what each way begins. */
  offer(starters) {
    this.starters = starters;
    this.strip.replaceChildren(
      ...ON_STRIP.map((way) => button(`way-${way}`, WAYS[way].word, () => starters[way](), { icon: WAYS[way].icon })),
    );
    rovingFocus(this.strip);
  }

  /** Begin: `done(points)` when it is finished, in millimetres; `from` is where the reticle starts. */
  start(way, done, from = null) {
    if (this.now) this.stop(false);
    this.now = { way, done, points: [], ...WAYS[way] };
    this.stage.live.pointing = this.now;
    const { view, canvas } = this.stage;
    this.stage.live.reticle = from ? view.toScreen(from) : [view.size[0] / 2, view.size[1] / 2];
    canvas.classList.add("points");
    this.strip.hidden = true;
    this.#redraw();
    canvas.focus();
  }

  /** Put a point at a place on the stage. [CSS px] */
  put(place) {
    const { now } = this;
    const { view } = this.stage;
    const last = now.points.at(-1);
    // The second click of a double click is not another point.
    if (!last || distance(view.toScreen(last), place) > SAME_PLACE) now.points.push(view.toSlab(place));
    this.stage.live.reticle = place;
    if (now.single) {
      this.finish();
      return;
    }
    this.#redraw();
  }

  /** Move the reticle by screen pixels, keeping it in sight. */
  moveReticle(dx, dy) {
    const { live, view } = this.stage;
    const [x, y] = [live.reticle[0] + dx, live.reticle[1] + dy];
    const inside = [Math.max(0, Math.min(view.size[0], x)), Math.max(0, Math.min(view.size[1], y))];
    if (inside[0] !== x || inside[1] !== y) {
      view.panBy(inside[0] - x, inside[1] - y);
      this.stage.refresh();
    }
    live.reticle = inside;
    this.stage.refresh(true);
  }

  hover(place) {
    this.stage.live.reticle = place;
    this.stage.refresh(true);
  }

  takeBack() {
    this.now?.points.pop();
    this.#redraw();
  }

  /** End with the points given, if there are enough. */
  finish() {
    const { points, least, single, done } = this.now;
    if (points.length < (single ? 1 : least)) return;
    this.stop(false);
    done(points);
  }

  /** End without doing anything. */
  stop(sayWhy = true) {
    if (sayWhy) this.now?.givenUp?.();
    this.now = null;
    Object.assign(this.stage.live, { pointing: null, reticle: null });
    this.stage.canvas.classList.remove("points");
    this.bar.hidden = true;
    this.strip.hidden = false;
    this.stage.refresh(true);
  }

  #redraw() {
    const { now } = this;
    if (!now) return;
    const count = now.points.length;
    const prompt = document.createElement("p");
    prompt.setAttribute("role", "status");
    const sofar = count && !now.single ? ` ${counted(count, "point")} so far.` : "";
    prompt.textContent = now.prompt + sofar;
    this.bar.replaceChildren(prompt);
    if (!now.single) {
      const enough = count >= now.least;
      this.bar.append(
        button("point-finish", "Finish", () => this.finish(), { icon: "good", class: "first", disabled: !enough }),
        button("point-back", "Take back", () => this.takeBack(), { icon: "undo", disabled: !count }),
      );
    }
    this.bar.append(button("point-stop", "Give up", () => this.stop(), { icon: "close" }));
    this.bar.hidden = false;
    this.stage.refresh(true);
  }
}

/** In a toolbar one button is in the Tab order; the arrow keys go to the others. */
export function rovingFocus(bar) {
  const all = () => [...bar.querySelectorAll("button:not([hidden]):not(:disabled)")];
  all().forEach((each, i) => {
    each.tabIndex = i ? -1 : 0;
  });
  bar.addEventListener("keydown", (event) => {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    const now = all().indexOf(document.activeElement);
    if (!step || now < 0) return;
    event.preventDefault();
    const next = all()[(now + step + all().length) % all().length];
    all().forEach((each) => {
      each.tabIndex = each === next ? 0 : -1;
    });
    next.focus();
  });
}
