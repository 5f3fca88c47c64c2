// The two canvases over each other: photo tiles below, everything drawn above; one frame at a time.

import { Scene } from "./scene.js";
import { Tiles } from "./tiles.js";
import { View } from "./view.js";

export class Stage {
  constructor(job, chosen) {
    this.job = job;
    this.photo = document.getElementById("photo");
    this.canvas = document.getElementById("stage");
    this.under = this.photo.getContext("2d", { alpha: false });
    this.over = this.canvas.getContext("2d");
    this.scene = new Scene(job, chosen);
    this.live = { drag: null, pointing: null, reticle: null };
    this.view = null;
    this.due = false;
    this.photoStale = true;
    job.addEventListener("state", ({ detail }) => this.#take(detail));
    chosen.addEventListener("chosen", ({ detail }) => this.#bringIn(detail, chosen.at));
    addEventListener("theme", () => this.refresh());
    new ResizeObserver(() => this.#resize()).observe(this.canvas.parentElement);
  }

  /** Draw everything in the next frame; `overOnly` where the photo itself stays as it is. */
  refresh(overOnly = false) {
    if (!overOnly) this.photoStale = true;
    if (this.due || !this.view) return;
    this.due = true;
    requestAnimationFrame(() => this.#frame());
  }

  /** Show the whole slab. */
  showAll() {
    this.view.show(this.job.state.survey.outline);
    this.refresh();
  }

  /** A pointer's place on the stage. [CSS px] */
  placeOf(event) {
    const box = this.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  #take({ before, after }) {
    if (!before) {
      this.view = new View(after.picture);
      this.tiles = new Tiles(after.picture, () => this.refresh());
      this.#resize();
      this.showAll();
    } else if (JSON.stringify(before.picture) !== JSON.stringify(after.picture)) {
      this.view.setPicture(after.picture);
      this.tiles = new Tiles(after.picture, () => this.refresh());
    }
    this.refresh();
  }

  #bringIn({ by }, at) {
    if (at && by !== "stage" && this.view) this.view.bringIn(at);
    this.refresh();
  }

  #resize() {
    if (!this.view) return;
    const { width, height } = this.canvas.parentElement.getBoundingClientRect();
    this.ratio = Math.min(devicePixelRatio || 1, 3); // sharper than 3 costs memory and shows nothing
    for (const canvas of [this.photo, this.canvas]) {
      canvas.width = Math.max(1, Math.round(width * this.ratio));
      canvas.height = Math.max(1, Math.round(height * this.ratio));
    }
    const first = this.view.size[0] === 1;
    this.view.resize(width, height);
    if (first) this.showAll();
    this.refresh();
  }

  #frame() {
    this.due = false;
    performance.mark("frame-began");
    const gliding = this.view.step();
    if (this.photoStale || gliding) this.#drawPhoto();
    this.scene.draw(this.over, this.view, this.ratio, this.live);
    performance.measure("frame", "frame-began");
    if (gliding) this.refresh();
  }

  #drawPhoto() {
    this.photoStale = false;
    const ground = getComputedStyle(this.canvas).getPropertyValue("--bench").trim() || "#cfcabf";
    this.under.setTransform(1, 0, 0, 1, 0, 0);
    this.under.fillStyle = ground;
    this.under.fillRect(0, 0, this.photo.width, this.photo.height);
    this.under.imageSmoothingEnabled = this.view.zoom * this.ratio < 2.5; // pixels may be seen as such when very near
    this.under.imageSmoothingQuality = "medium";
    this.tiles.draw(this.under, this.view, this.ratio);
  }
}
