// The keyboard: letters only while the photo has the focus, undo everywhere but in a field.

import { showHelp } from "./dialogs.js";

const TURN = 5; // [deg]
const FINE_TURN = 0.5; // with Alt [deg]
const RETICLE = { plain: 12, Shift: 60, Alt: 1 }; // steps of the pointing cross [CSS px]
const PAN = 80; // [CSS px]
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const WAYS = { a: "key", c: "crack", p: "probe", t: "top", o: "keep_out" };

export class Keyboard {
  constructor(bench) {
    this.bench = bench;
    addEventListener("keydown", (event) => this.#anywhere(event));
    bench.stage.canvas.addEventListener("keydown", (event) => this.#onPhoto(event));
  }

  #anywhere(event) {
    const { job, chosen, compare, pointing, gestures } = this.bench;
    if (document.querySelector("dialog[open]")) return;
    const typing = event.target.matches?.("input:not([type=range]), select, textarea");
    if (event.key === "Escape" && !event.defaultPrevented) {
      if (compare.open) compare.hide();
      else if (this.bench.stage.live.drag) gestures.giveUp();
      else if (pointing.now) pointing.stop();
      else if (!typing) chosen.nothing("keyboard");
      return;
    }
    if (typing) return;
    if ((event.ctrlKey || event.metaKey) && !event.altKey) {
      const key = event.key.toLowerCase();
      if (key === "z" || key === "y") {
        event.preventDefault();
        if (key === "y" || event.shiftKey) job.redo();
        else job.undo();
      }
      return;
    }
    if (event.key === "?") {
      event.preventDefault();
      showHelp();
    }
  }

  #onPhoto(event) {
    if (event.ctrlKey || event.metaKey || event.defaultPrevented) return;
    const taken = this.bench.pointing.now ? this.#pointing(event) : this.#looking(event);
    if (taken) event.preventDefault();
  }

  #pointing(event) {
    const { pointing, stage } = this.bench;
    const arrow = ARROWS[event.key];
    if (arrow) {
      const step = event.shiftKey ? RETICLE.Shift : event.altKey ? RETICLE.Alt : RETICLE.plain;
      pointing.moveReticle(arrow[0] * step, arrow[1] * step);
      return true;
    }
    switch (event.key) {
      case " ":
        pointing.put(stage.live.reticle);
        return true;
      case "Enter":
        if (pointing.now.single) pointing.put(stage.live.reticle);
        else pointing.finish();
        return true;
      case "Backspace":
        pointing.takeBack();
        return true;
      default:
        return this.#zoom(event);
    }
  }

  #looking(event) {
    const { chosen, steps, stage } = this.bench;
    const key = chosen.key;
    const arrow = ARROWS[event.key];
    if (arrow && key) {
      // Screen up is slab up: the picture is squared to the slab, but not turned over.
      const step = event.shiftKey ? 10 : event.altKey ? 0.1 : 1;
      const [dx, dy] = stage.view.stepToSlab(arrow);
      const long = Math.hypot(dx, dy);
      steps.nudge([(dx / long) * step, (dy / long) * step]);
      return true;
    }
    if (arrow) {
      stage.view.panBy(-arrow[0] * PAN, -arrow[1] * PAN);
      stage.refresh();
      return true;
    }
    const letter = event.key.toLowerCase();
    if (letter === "n" || letter === "b") {
      chosen.next(letter === "n" ? 1 : -1);
      return true;
    }
    if (key && this.#onKey(event, key, letter)) return true;
    if (event.key === "Delete" && chosen.crack) {
      steps.refuseCrack(chosen.id);
      return true;
    }
    if (WAYS[letter] && !event.altKey) {
      this.bench.point(WAYS[letter]);
      return true;
    }
    return this.#zoom(event);
  }

  #onKey(event, key, letter) {
    const { steps, job } = this.bench;
    switch (letter) {
      // With Alt some systems give another letter for R; the key's own code does not change.
      case "delete":
        steps.refuseKey(key.id);
        return true;
      case "f":
        steps.fixKey(key.id, key.origin === "suggested");
        return true;
      case "s": {
        const { sizes } = job.state.choices;
        const longer = [...sizes].sort((a, b) => a.length - b.length);
        const next = event.shiftKey
          ? longer.find((size) => size.length > key.length + 0.05)
          : longer.findLast((size) => size.length < key.length - 0.05);
        if (next) steps.resizeKey(key.id, { size: next.name });
        return true;
      }
      default:
        if (event.code !== "KeyR" && letter !== "r") return false;
        steps.nudge([0, 0], (event.shiftKey ? -1 : 1) * (event.altKey ? FINE_TURN : TURN));
        return true;
    }
  }

  #zoom(event) {
    const { stage } = this.bench;
    const factor = { "+": 1.5, "=": 1.5, "-": 1 / 1.5, "−": 1 / 1.5 }[event.key];
    if (factor) {
      stage.view.glideAt(
        stage.view.size.map((side) => side / 2),
        factor,
      );
      stage.refresh();
      return true;
    }
    if (event.key === "0") {
      stage.showAll();
      return true;
    }
    return false;
  }
}
