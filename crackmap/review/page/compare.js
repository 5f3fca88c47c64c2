// The finished look over the photo, with a divider to slide: the slab as it is, and with its keys and resin.

import { button, make } from "./dom.js";

export class Compare {
  constructor(job) {
    this.job = job;
    this.place = document.getElementById("compare");
    job.addEventListener("state", () => {
      if (this.open) this.show();
    });
  }

  get open() {
    return !this.place.hidden;
  }

  /** Show both pictures; the later one is drawn by the server and may take a moment. */
  show() {
    const before = make("img", { src: "/finished/before", alt: "The slab as it is", draggable: "false" });
    const after = make("img", {
      src: `/finished?version=${this.job.state.version}`,
      alt: "The slab with keys and resin",
      draggable: "false",
    });
    const wait = make("p.wait", { role: "status" }, "Drawing the finished look …");
    const slider = make("input", {
      type: "range",
      min: "0",
      max: "100",
      value: "50",
      "data-name": "divider",
      "aria-label": "Divider between before (left) and after (right)",
    });
    const line = make("div.divider", { "aria-hidden": "true" });
    const frame = make(
      "div.pair",
      {},
      before,
      after,
      line,
      make("span.tag.is-before", { "aria-hidden": "true" }, "before"),
      make("span.tag.is-after", { "aria-hidden": "true" }, "after"),
      slider,
    );
    const slide = () => {
      after.style.clipPath = `inset(0 0 0 ${slider.value}%)`;
      line.style.left = `${slider.value}%`;
    };
    slider.addEventListener("input", slide);
    after.addEventListener("load", () => {
      wait.hidden = true;
      frame.classList.add("ready");
    });
    after.addEventListener("error", () => {
      wait.textContent = "The finished look could not be drawn; the message is in the program's window.";
    });
    slide();
    this.place.replaceChildren(
      frame,
      wait,
      button("compare-close", "Back to the plan", () => this.hide(), { icon: "close", class: "first" }),
    );
    this.place.hidden = false;
    slider.focus();
  }

  hide() {
    this.place.hidden = true;
    this.place.replaceChildren();
    document.getElementById("stage").focus();
  }
}
