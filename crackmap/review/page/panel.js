// The lists beside the photo: keys, cracks, the slab, resin. Everything on the photo is here too, as buttons.

import { make, refill } from "./dom.js";
import { cracksTab } from "./cracks_tab.js";
import { keysTab } from "./keys_tab.js";
import { resinTab } from "./resin_tab.js";
import { slabTab } from "./slab_tab.js";

const TABS = [
  { name: "keys", word: "Keys", fill: keysTab, count: (state) => state.plan.keys.length },
  { name: "cracks", word: "Cracks", fill: cracksTab, count: (state) => state.survey.cracks.length },
  { name: "slab", word: "Slab", fill: slabTab, count: warnings },
  { name: "resin", word: "Resin", fill: resinTab, count: () => null },
];
const TAB_OF = { key: "keys", crack: "cracks", void: "slab" };

export class Panel {
  /** `bench` is what the tabs work with: {job, chosen, steps, pointing, ask, ...}. */
  constructor(bench) {
    this.bench = bench;
    this.open = "keys";
    this.place = document.getElementById("panel");
    this.tabs = make("div.tabs", { role: "tablist", "aria-label": "Lists" });
    this.body = make("div.body", { role: "tabpanel", id: "tab-body", tabindex: "0" });
    this.place.replaceChildren(this.tabs, this.body);
    this.tabs.addEventListener("keydown", (event) => this.#arrow(event));
    this.body.addEventListener("keydown", (event) => listKeys(event, this.body));
    this.body.addEventListener("input", (event) => {
      event.target.dataset.dirty = "yes";
    });
    bench.job.addEventListener("state", () => this.redraw());
    bench.chosen.addEventListener("chosen", ({ detail }) => this.#follow(detail));
  }

  redraw() {
    const { state } = this.bench.job;
    refill(
      this.tabs,
      ...TABS.map(({ name, word, count }) =>
        make(
          "button",
          {
            type: "button",
            role: "tab",
            id: `tab-${name}`,
            "data-name": `tab-${name}`,
            "aria-controls": "tab-body",
            "aria-selected": String(name === this.open),
            tabindex: name === this.open ? "0" : "-1",
            onclick: () => this.show(name),
          },
          word,
          badge(name, count(state)),
        ),
      ),
    );
    this.body.setAttribute("aria-labelledby", `tab-${this.open}`);
    refill(this.body, ...TABS.find((tab) => tab.name === this.open).fill(this.bench));
    this.body.querySelector("[aria-expanded=true]")?.closest("li")?.scrollIntoView({ block: "nearest" });
  }

  show(name) {
    if (name !== this.open) this.body.scrollTop = 0;
    this.open = name;
    this.redraw();
  }

  #follow({ kind, id, by }) {
    if (kind) this.open = TAB_OF[kind];
    this.redraw();
    if (kind && by === "list")
      this.body.querySelector(`[data-name="${CSS.escape(`row-${id}`)}"]`)?.focus({ preventScroll: true });
  }

  #arrow(event) {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    const now = TABS.findIndex((tab) => tab.name === this.open);
    this.show(TABS[(now + step + TABS.length) % TABS.length].name);
    this.tabs.querySelector("[aria-selected=true]").focus();
  }
}

/** Up and down go through the rows of a list. */
function listKeys(event, body) {
  if (!event.target.matches(".row")) return;
  const rows = [...body.querySelectorAll(".row")];
  const now = rows.indexOf(event.target);
  const next = { ArrowDown: now + 1, ArrowUp: now - 1, Home: 0, End: rows.length - 1 }[event.key];
  if (next === undefined || !rows[next]) return;
  event.preventDefault();
  rows[next].focus();
}

function badge(name, count) {
  if (count === null || (name === "slab" && !count)) return null;
  return make("span.count", {}, name === "slab" ? ` ${count} to read` : String(count));
}

function warnings({ survey, plan }) {
  return new Set([...survey.warnings, ...plan.warnings]).size;
}
