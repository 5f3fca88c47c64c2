// The slab itself: what to read, voids, finished top, keep-out areas, edge, and how sure the millimetres are.

import { button, make } from "./dom.js";
import { depthField } from "./cracks_tab.js";
import { fine, shown } from "./lengths.js";
import { boundsOf, centreOf } from "./geometry.js";
import { place, plain } from "./words.js";

/** The tab's elements. */
export function slabTab(bench) {
  const { survey, plan, scale, datum } = bench.job.state;
  const told = [...new Set([...survey.warnings, ...plan.warnings])];
  return [
    make(
      "section",
      {},
      make("h2", {}, "To read"),
      told.length ? make("ul.notes", {}, ...told.map((text) => make("li", {}, text))) : make("p.quiet", {}, "Nothing."),
    ),
    top(bench),
    keepOut(bench),
    edge(bench),
    make(
      "section",
      {},
      make("h2", {}, "Voids"),
      survey.voids.length
        ? make("ul.rows", { "aria-label": "Voids" }, ...survey.voids.map((each) => hole(bench, each)))
        : make("p.quiet", {}, "None."),
    ),
    make(
      "section",
      {},
      make("h2", {}, "How sure the scale is"),
      make(
        "dl.figures",
        {},
        ...pair("Scale, one sigma", `${plain(scale.sigma_percent, 2)} %`),
        ...pair("Worst place on the slab", fine(scale.worst_mm)),
        ...pair("Narrowest crack that shows", fine(scale.narrowest_crack_mm)),
        ...pair("Mark A", `${datum.a_name} (${place(datum.a)})`),
        ...pair("Mark B", `${datum.b_name} (${place(datum.b)})`),
        ...pair("Grain, from the x axis", `${plain(survey.grain_deg, 1)}°`),
      ),
      ...scale.notes.map((note) => make("p.quiet", {}, note)),
    ),
  ];
}

export const pair = (word, figure) => [make("dt", {}, word), make("dd", {}, figure)];

function top(bench) {
  const { edits } = bench.job.state;
  const given = edits.finished_top;
  return make(
    "section",
    {},
    make("h2", {}, "Finished top"),
    make(
      "p.quiet",
      {},
      given
        ? `${sides(given)} over all; keys keep clear of its edge.`
        : "If the slab is cut to shape later, draw the shape: keys then keep clear of that edge.",
    ),
    make(
      "div.tools",
      {},
      button("draw-top", given ? "Draw it anew" : "Draw it", () => bench.point("top"), { icon: "top" }),
      given ? button("top-away", "Take it away", () => bench.steps.finishedTop(null), { icon: "refuse" }) : null,
    ),
  );
}

function keepOut(bench) {
  const { edits } = bench.job.state;
  return make(
    "section",
    {},
    make("h2", {}, "Keep-out areas and base plates"),
    edits.keep_out.length
      ? make(
          "ul.notes",
          {},
          ...edits.keep_out.map((area, i) =>
            make(
              "li.split",
              {},
              make("span", {}, area.note || `Area ${i + 1}`, make("span.sub", {}, areaWords(area))),
              button(
                `keep-out-away-${i}`,
                `Take away ${area.note || `area ${i + 1}`}`,
                () => bench.steps.removeKeepOut(i),
                { icon: "refuse", quiet: true },
              ),
            ),
          ),
        )
      : make("p.quiet", {}, "None: nothing keeps a key away but the wood itself."),
    make(
      "div.tools",
      {},
      button("draw-keep-out", "Add one", () => bench.point("keep_out"), { icon: "keep_out" }),
    ),
  );
}

function areaWords(area) {
  const deep = area.depth === null || area.depth === undefined ? "all through" : `${shown(area.depth)} deep`;
  const screws = area.screws?.length ? `, ${area.screws.length} screws` : "";
  return `${sides(area.area)}, from ${area.from ?? "above"}, ${deep}${screws}`;
}

function edge(bench) {
  const own = Boolean(bench.job.state.edits.outline);
  return make(
    "section",
    {},
    make("h2", {}, "Slab edge"),
    make("p.quiet", {}, own ? "Drawn by you." : "As measured on the photo."),
    make(
      "div.tools",
      {},
      button("draw-edge", "Draw it", () => bench.point("edge"), { icon: "edge" }),
      own ? button("edge-away", "As measured", () => bench.steps.outline(null), { icon: "undo" }) : null,
    ),
  );
}

function hole(bench, each) {
  const open = bench.chosen.is("void", each.id);
  const head = make(
    "button.row",
    {
      type: "button",
      "data-name": `row-${each.id}`,
      "aria-expanded": String(open),
      onclick: () => (open ? bench.chosen.nothing("list") : bench.chosen.pick("void", each.id, "list")),
    },
    make("span.id", {}, each.id),
    make("span.main", {}, sides(each.polygon)),
  );
  return make(
    open ? "li.open" : "li",
    {},
    head,
    open ? make("div.card", {}, depthField(bench, `depth-${each.id}`, each.id, centreOf(each.polygon))) : null,
  );
}

function sides(points) {
  const [left, bottom, right, top] = boundsOf(points);
  return `${shown(right - left, 0)} × ${shown(top - bottom, 0)}`;
}
