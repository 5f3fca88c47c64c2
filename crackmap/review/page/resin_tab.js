// How much resin, and what each crack and void takes.

import { make } from "./dom.js";
import { fine } from "./lengths.js";
import { pair } from "./slab_tab.js";
import { ml } from "./words.js";

/** The tab's elements. */
export function resinTab(bench) {
  const { resin } = bench.job.state;
  if (!resin.items.length) return [make("p.quiet", {}, "Nothing to fill.")];
  return [
    make("p.large", {}, `Mix about ${ml(resin.mix_ml)}`),
    make(
      "dl.figures",
      {},
      ...pair("Resin", ml(resin.part_a_ml)),
      ...pair("Hardener", ml(resin.part_b_ml)),
      ...pair("To fill", ml(resin.volume_ml)),
      ...(resin.layers > 1 ? pair("Pours, at least", String(resin.layers)) : []),
      ...pair("Least and most", `${ml(resin.least_ml)} to ${ml(resin.most_ml)}`),
    ),
    make("p.quiet", {}, "Depth is not seen from above: probe the large ones and say how deep they are."),
    make(
      "table",
      {},
      make("caption.unseen", {}, "Resin for each crack and void"),
      make(
        "thead",
        {},
        make("tr", {}, ...["what", "depth", "from", "takes"].map((word) => make("th", { scope: "col" }, word))),
      ),
      make(
        "tbody",
        {},
        ...[...resin.items]
          .sort((a, b) => b.volume_ml - a.volume_ml)
          .map((item) =>
            make(
              "tr",
              {},
              make("th", { scope: "row" }, name(bench, item.id)),
              make("td", {}, fine(item.depth_mm)),
              make("td", {}, item.depth_from),
              make("td", {}, ml(item.volume_ml)),
            ),
          ),
      ),
    ),
    ...resin.notes.map((note) => make("p.quiet", {}, note)),
    make(
      "p.quiet",
      {},
      "Gloves, air, layers no thicker than the data sheet on the tin allows; that sheet comes first.",
    ),
  ];
}

function name(bench, id) {
  const { survey } = bench.job.state;
  const kind = survey.cracks.some((each) => each.id === id)
    ? "crack"
    : survey.voids.some((each) => each.id === id)
      ? "void"
      : null;
  return kind
    ? make(
        "button.link",
        { type: "button", "data-name": `resin-${id}`, onclick: () => bench.chosen.pick(kind, id, "list") },
        id,
      )
    : id;
}
