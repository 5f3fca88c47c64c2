// Windows over the page: all keys of the keyboard, the offered plans, what was written, a depth, a keep-out area.

import { button, choice, field, make } from "./dom.js";
import { lengthField } from "./keys_tab.js";
import { boundsOf } from "./geometry.js";
import { fine, shown } from "./lengths.js";
import { plain } from "./words.js";

const HELP = [
  [
    "On the photo",
    [
      ["Drag, wheel, two fingers", "move about, zoom"],
      ["+ and −, 0", "zoom; show the whole slab"],
      ["Arrow keys, nothing chosen", "move about"],
      ["N and B", "next key, the one before"],
      ["A C P T O", "add a key, draw a crack, probe a depth, finished top, keep-out area"],
    ],
  ],
  [
    "With a key chosen",
    [
      ["Arrow keys", "move by 1 mm; Shift: 10 mm; Alt: 0.1 mm"],
      ["R and Shift+R", "turn left and right by 5°; Alt: 0.5°"],
      ["S and Shift+S", "next smaller and larger size"],
      ["F", "fix it here, or let it move again"],
      ["Delete", "refuse it"],
      ["Drag with Shift", "along the crack only; with Alt across it only"],
    ],
  ],
  [
    "While pointing",
    [
      ["Arrow keys", "move the cross; Shift: faster; Alt: finer"],
      ["Space", "a point here"],
      ["Enter", "finish"],
      ["Backspace", "take the last point back"],
      ["Esc", "give up"],
    ],
  ],
  [
    "Anywhere",
    [
      ["Ctrl+Z, Ctrl+Shift+Z", "undo, do again (⌘ on a Mac)"],
      ["Tab, then arrow keys", "through the lists"],
      ["Esc", "choose nothing"],
      ["?", "this page"],
    ],
  ],
];
const SIGNS = [
  ["Plain blue line", "edge of the show face"],
  ["Yellow lips", "a crack; broken and with ? where it may be none"],
  ["Filled and numbered", "a key; broken outline and ! where a check is not kept"],
  ["Hatched, blue", "a void"],
  ["Hatched, red", "keep-out area; broken outline where it is from below"],
  ["Dash and dot", "edge of the finished top"],
  ["Ring and cross", "marks A and B; a small cross is a screw"],
  ["Orange bands", "while you drag: the key's edge must stay out"],
];

/** Open a window; the focus goes into it and comes back afterwards. */
export function openDialog(title, ...children) {
  const dialog = make(
    "dialog",
    { "aria-labelledby": "dialog-title" },
    make(
      "div.dialog-head",
      {},
      make("h2", { id: "dialog-title" }, title),
      button("dialog-close", "Close", () => dialog.close(), { icon: "close", quiet: true }),
    ),
    make("div.dialog-body", {}, ...children),
  );
  const before = document.activeElement;
  dialog.addEventListener("close", () => {
    dialog.remove();
    if (before?.isConnected) before.focus();
  });
  document.getElementById("dialogs").append(dialog);
  dialog.showModal();
  return dialog;
}

export function showHelp() {
  openDialog(
    "Keys of the keyboard, and signs",
    make(
      "div.help",
      {},
      ...HELP.map(([title, rows]) => make("section", {}, make("h3", {}, title), definitions(rows))),
      make("section", {}, make("h3", {}, "Signs on the photo"), definitions(SIGNS)),
    ),
    make(
      "p.quiet",
      {},
      "Letters work while the photo has the focus (click it, or Tab to it). crackmap suggests, you decide: " +
        "look at every crack on the slab itself before you cut.",
    ),
  );
}

/** What the export wrote. */
export function showExport({ folder, files }) {
  openDialog(
    "Written",
    make("p", {}, "In the folder ", make("code", {}, folder), ":"),
    make("ul.files", {}, ...files.map((file) => make("li", {}, make("code", {}, file)))),
    make(
      "p.quiet",
      {},
      "slab.dxf and keys.dxf go to the CAM program, setting-out.pdf to the bench. Run a new drawing in air, " +
        "or in an offcut, first; the makers' instructions for machine and bit come before anything here.",
    ),
  );
}

/** The offered plans side by side. */
export function showPlans(plans, outline, choose) {
  const dialog = openDialog(
    "Plans to choose from",
    make("p.quiet", {}, "Your fixed keys stay in each. You can undo the choice."),
    make(
      "div.plans",
      {},
      ...plans.map((plan) =>
        make(
          "section.plan",
          plan.chosen ? { "aria-current": "true" } : {},
          make("h3", {}, plan.title, plan.chosen ? make("span.tag", {}, "now") : null),
          sketch(outline, plan.outlines),
          make("p", {}, plan.description),
          make(
            "p.quiet",
            {},
            `${plan.keys} ${plan.keys === 1 ? "key" : "keys"}; longest stretch unheld ${fine(plan.longest_unheld_mm)}` +
              `${plan.holding ? `; ${plan.holding}` : ""}.`,
          ),
          button(
            `plan-${plan.name}`,
            plan.chosen ? "Take it anew" : "Take this one",
            () => {
              dialog.close();
              choose(plan.name);
            },
            { class: "first" },
          ),
        ),
      ),
    ),
    plans.length ? null : make("p", {}, "There is only the plan you see."),
  );
}

/** The slab's outline with a plan's keys, small. */
function sketch(outline, keys) {
  const NS = "http://www.w3.org/2000/svg";
  const [left, bottom, right, top] = boundsOf(outline);
  const svg = document.createElementNS(NS, "svg");
  svg.setAttribute("viewBox", [left, -top, right - left, top - bottom].join(" "));
  svg.setAttribute("aria-hidden", "true");
  svg.classList.add("sketch");
  const shape = (points, name) => {
    const polygon = document.createElementNS(NS, "polygon");
    polygon.setAttribute("points", points.map(([x, y]) => `${plain(x, 1)},${plain(-y, 1)}`).join(" "));
    polygon.classList.add(name);
    svg.append(polygon);
  };
  shape(outline, "slab");
  for (const each of keys) shape(each, "key");
  return svg;
}

/** Ask for the depth at a probed place. */
export function askDepth(bench, at) {
  let depth = NaN;
  const save = () => {
    if (!(depth > 0)) {
      bench.refuse("Give the depth that you measured, such as 18mm.");
      return;
    }
    dialog.close();
    bench.steps.probeDepth(at, depth);
  };
  const dialog = openDialog(
    "Probed depth",
    make("p", {}, `At ${shown(at[0])}, ${shown(at[1])}: how deep does the crack or void go there?`),
    lengthField(
      bench,
      "probe-depth",
      "Depth",
      null,
      (mm) => {
        depth = mm;
      },
      true,
    ),
    make("div.tools", {}, button("probe-save", "Save", save, { class: "first", icon: "good" })),
  );
  enterSaves(dialog, save);
  dialog.querySelector("input").focus();
}

/** Ask what is kept out: from which face, how deep, a note, screws. */
export function askKeepOut(bench, area, screws) {
  const asked = { from: "below", depth: null, note: "", screws };
  const note = make("input", { type: "text", "data-name": "keep-out-note", maxlength: "120", autocomplete: "off" });
  const save = () => {
    dialog.close();
    bench.steps.addKeepOut(area, { ...asked, note: note.value.trim() });
  };
  const dialog = openDialog(
    "Keep-out area",
    make(
      "p.quiet",
      {},
      screws.length
        ? `${screws.length} screw places.`
        : "A base plate, a clamp, a place for hardware: no key is cut there.",
    ),
    field("Note", note, { wide: true }),
    field(
      "From",
      choice(
        "keep-out-from",
        [
          ["below", "below (the underside)"],
          ["above", "above (the show face)"],
        ],
        "below",
        (value) => {
          asked.from = value;
        },
      ),
    ),
    lengthField(
      bench,
      "keep-out-depth",
      "Depth (empty: all through)",
      null,
      (mm) => {
        asked.depth = mm;
      },
      true,
    ),
    make(
      "div.tools",
      {},
      button("keep-out-save", "Save", save, { class: "first", icon: "good" }),
      button(
        "keep-out-screws",
        screws.length ? "Point at the screws anew" : "Point at screw places",
        () => {
          dialog.close();
          bench.pointScrews(area);
        },
        { icon: "screws" },
      ),
    ),
  );
  enterSaves(dialog, save);
  note.focus();
}

function enterSaves(dialog, save) {
  dialog.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("input")) return;
    event.preventDefault();
    event.target.dispatchEvent(new Event("change"));
    save();
  });
}

function definitions(rows) {
  return make("dl", {}, ...rows.flatMap(([term, means]) => [make("dt", {}, term), make("dd", {}, means)]));
}
