// The list of cracks, and the card of the chosen one.

import { button, field, make } from "./dom.js";
import { nearestOn } from "./geometry.js";
import { icon } from "./icons.js";
import { lengthField } from "./keys_tab.js";
import { fine, shown } from "./lengths.js";
import { crackEnds } from "./scene.js";
import { DOUBTFUL_BELOW } from "./signs.js";
import { counted, endSides, endWord } from "./words.js";

const MOST_KEYS = 20; // on one crack; more is surely a slip of the finger

/** The tab's elements. */
export function cracksTab(bench) {
  const { survey, edits } = bench.job.state;
  const doubtful = survey.cracks.filter((crack) => crack.confidence < DOUBTFUL_BELOW);
  const refused = edits.refused_cracks
    ? ` ${counted(edits.refused_cracks, "crack")} refused by you (undo brings them back).`
    : "";
  return [
    make(
      "div.tools",
      {},
      button("draw-crack", "Draw a crack", () => bench.point("crack"), { icon: "crack" }),
    ),
    make(
      "p.verdict",
      {},
      doubtful.length ? icon("bad") : icon("good"),
      (doubtful.length
        ? `Look at the slab: ${doubtful.map((crack) => crack.id).join(", ")} may be grain or a mark.`
        : "None looks doubtful; compare with the slab all the same.") + refused,
    ),
    make("ul.rows", { "aria-label": "Cracks" }, ...survey.cracks.map((crack) => row(bench, crack))),
  ];
}

function row(bench, crack) {
  const { chosen } = bench;
  const open = chosen.is("crack", crack.id);
  const keys = keysOn(bench, crack);
  const doubtful = crack.confidence < DOUBTFUL_BELOW;
  const head = make(
    "button.row",
    {
      type: "button",
      "data-name": `row-${crack.id}`,
      "aria-expanded": String(open),
      onclick: () => (open ? chosen.nothing("list") : chosen.pick("crack", crack.id, "list")),
    },
    make("span.id", {}, crack.id),
    make("span.main", {}, `${shown(crack.length, 0)} long`, make("span.sub", {}, `up to ${fine(crack.widest)} wide`)),
    doubtful ? make("span.tag.doubt", {}, "? perhaps none") : crack.drawn ? make("span.tag", {}, "drawn by you") : null,
    make("span.mark", {}, keys.length ? keys.map((key) => key.id).join(" ") : "no key"),
  );
  return make(open ? "li.open" : "li", {}, head, open ? card(bench, crack) : null);
}

function card(bench, crack) {
  const { steps, job } = bench;
  const why = job.state.plan.unheld.find((each) => each.crack === crack.id)?.why;
  const ends = crackEnds(crack);
  const sides = endSides(ends);
  return make(
    "div.card",
    {},
    make(
      "div.tools",
      {},
      button("refuse-crack", "No crack: refuse", () => steps.refuseCrack(crack.id), {
        icon: "refuse",
        class: "danger",
      }),
    ),
    make(
      "p.quiet",
      {},
      `From ${endWord(crack.ends[0])} to ${endWord(crack.ends[1])}; ` +
        `sure to ${Math.round(crack.confidence * 100)} %.${why ? ` No key: ${why}.` : ""}`,
    ),
    count(bench, crack),
    make(
      "div.tools",
      {},
      button("end-first", `Move the ${sides[0]} end (${endWord(crack.ends[0])})`, () => bench.pointEnd(crack, 0, ends[0]), {
        icon: "look",
      }),
      button("end-last", `Move the ${sides[1]} end (${endWord(crack.ends[1])})`, () => bench.pointEnd(crack, 1, ends[1]), {
        icon: "look",
      }),
    ),
    depthField(bench, `depth-${crack.id}`, crack.id, widestPlace(crack)),
  );
}

function count(bench, crack) {
  const { steps } = bench;
  const asked = crack.keys_asked ?? null;
  const input = make("input", {
    type: "number",
    min: "0",
    max: String(MOST_KEYS),
    step: "1",
    "data-name": "key-count",
    value: asked === null ? "" : String(asked),
    placeholder: String(keysOn(bench, crack).length),
  });
  input.addEventListener("change", () => {
    const text = input.value.trim();
    delete input.dataset.dirty;
    if (text === "") {
      steps.countKeys(crack.id, null);
      return;
    }
    const keys = Number(text);
    if (!Number.isInteger(keys) || keys < 0 || keys > MOST_KEYS) {
      bench.refuse(`Keys on ${crack.id}: give a whole number from 0 (leave it open) to ${MOST_KEYS}.`);
      return;
    }
    steps.countKeys(crack.id, keys);
  });
  return make(
    "div.tools",
    {},
    field("Keys on this crack", input),
    button("count-open", "Leave it open", () => steps.countKeys(crack.id, 0), { "aria-pressed": String(asked === 0) }),
    button("count-free", "As suggested", () => steps.countKeys(crack.id, null), {
      "aria-pressed": String(asked === null),
    }),
  );
}

/** A field for the depth that was probed in a crack or void. */
export function depthField(bench, name, id, at) {
  const { edits } = bench.job.state;
  const item = bench.job.state.resin.items.find((each) => each.id === id);
  const probed = item?.depth_from === "probed";
  const [x, y, known] = probed ? nearestProbe(edits.probed, at) : [...at, null];
  return make(
    "div.tools",
    {},
    lengthField(bench, name, "Depth as probed", known, (mm) => bench.steps.probeDepth([x, y], mm), true),
    probed
      ? button(`${name}-away`, "Not probed", () => bench.steps.probeDepth([x, y], null))
      : make("span.quiet", {}, item ? `reckoned with ${fine(item.depth_mm)}, ${item.depth_from}` : ""),
  );
}

function nearestProbe(probed, at) {
  const gap = (each) => Math.hypot(each[0] - at[0], each[1] - at[1]);
  return [...probed].sort((a, b) => gap(a) - gap(b))[0] ?? [...at, null];
}

function widestPlace(crack) {
  const widest = crack.width.indexOf(Math.max(...crack.width));
  return nearestOn(crack.centreline, crack.centreline[widest] ?? crack.centreline[0]).at;
}

function keysOn(bench, crack) {
  return bench.job.state.plan.keys.filter((key) => key.cracks.includes(crack.id));
}
