// The list of keys, and the card of the chosen one.

import { button, choice, field, make } from "./dom.js";
import { icon } from "./icons.js";
import { bare, parse, shown, units } from "./lengths.js";
import { crackUnder } from "./steps.js";
import { checkLine, counted, failing, figure, origin, plain, verdict } from "./words.js";

const OWN = "own"; // in the size list: the maker's own figures
const SIZES = [
  ["length", "Length"],
  ["width", "Width"],
  ["waist", "Waist"],
  ["depth", "Depth"],
];

/** The tab's elements. */
export function keysTab(bench) {
  const { job, chosen } = bench;
  const { plan } = job.state;
  const bad = plan.keys.filter((key) => failing(key).length);
  return [
    make(
      "div.tools",
      {},
      button("add-key", "Add a key", () => bench.point("key"), { icon: "plus" }),
      button("plans", "Other plans", () => bench.showPlans(), { icon: "plans" }),
      button("solve", "Solve anew", () => job.solve(), {
        icon: "solve",
        title: "Place the keys anew; fixed keys stay",
      }),
    ),
    make(
      bad.length ? "p.verdict.bad" : "p.verdict.good",
      {},
      icon(bad.length ? "bad" : "good"),
      !plan.keys.length
        ? "No key yet."
        : bad.length
          ? `${bad.map((key) => key.id).join(", ")}: not every check kept.`
          : `${counted(plan.keys.length, "key")}; every check kept.`,
    ),
    make("ul.rows", { "aria-label": "Keys" }, ...plan.keys.map((key) => row(bench, key, chosen.is("key", key.id)))),
    plan.unheld.length ? unheld(bench) : null,
  ];
}

function row(bench, key, open) {
  const bad = failing(key).length;
  const head = make(
    "button.row",
    {
      type: "button",
      "data-name": `row-${key.id}`,
      "aria-expanded": String(open),
      onclick: () => (open ? bench.chosen.nothing("list") : bench.chosen.pick("key", key.id, "list")),
    },
    make("span.id", {}, key.id),
    make(
      "span.main",
      {},
      `${key.size}, ${shown(key.length, 0)}`,
      make("span.sub", {}, `across ${key.cracks.join(", ") || "no crack"}`),
    ),
    key.origin === "suggested" ? null : make("span.tag", {}, icon("fixed"), key.origin),
    make(
      bad ? "span.mark.bad" : "span.mark.good",
      {},
      icon(bad ? "bad" : "good"),
      make("span.unseen", {}, verdict(key)),
    ),
  );
  return make(open ? "li.open" : "li", {}, head, open ? card(bench, key) : null);
}

function card(bench, key) {
  const { steps } = bench;
  const held = key.origin !== "suggested";
  return make(
    "div.card",
    {},
    make(
      "div.tools",
      {},
      button("fix", held ? "Let it move" : "Fix it here", () => steps.fixKey(key.id, !held), {
        icon: held ? "loose" : "fixed",
        "aria-pressed": String(held),
      }),
      button("refuse-key", "Refuse", () => steps.refuseKey(key.id), { icon: "refuse", class: "danger" }),
    ),
    checks(key),
    sizes(bench, key),
    placeOf(bench, key),
    nudges(bench, key),
    make(
      "p.quiet",
      {},
      `${capital(origin(key))}. ${key.reasons.map(capital).join(". ")}${key.reasons.length ? "." : ""}`,
    ),
  );
}

function checks(key) {
  const bad = failing(key);
  return make(
    "div.checks",
    {},
    ...bad.map((check) =>
      make("p.fail", {}, icon("bad"), make("span", {}, checkLine(check), make("span.sub", {}, check.note))),
    ),
    make(
      "details",
      {},
      make("summary", { "data-name": "checks" }, capital(verdict(key))),
      make(
        "table",
        {},
        make(
          "thead",
          {},
          make("tr", {}, ...["check", "is", "limit"].map((word) => make("th", { scope: "col" }, word))),
        ),
        make(
          "tbody",
          {},
          ...key.checks.map((check) =>
            make(
              "tr",
              { title: check.note },
              make("th", { scope: "row" }, check.ok ? "" : "! ", check.name),
              make("td", {}, figure(check.value, check.unit)),
              make("td", {}, figure(check.limit, check.unit)),
            ),
          ),
        ),
      ),
    ),
  );
}

function sizes(bench, key) {
  const { steps, job } = bench;
  const { sizes: family, shapes } = job.state.choices;
  const inFamily = family.some((size) => size.name === key.size);
  const options = [
    ...family.map((size) => [size.name, `${size.name}, ${shown(size.length, 0)}`]),
    ...(inFamily ? [] : [[OWN, "own figures"]]),
  ];
  const set = (name) => (mm) =>
    steps.resizeKey(key.id, { length: key.length, width: key.width, waist: key.waist, depth: key.depth, [name]: mm });
  return make(
    "fieldset",
    {},
    make("legend", {}, "Size and shape"),
    field(
      "Size",
      choice(
        "size",
        options,
        inFamily ? key.size : OWN,
        (name) => name !== OWN && steps.resizeKey(key.id, { size: name }),
      ),
      { wide: true },
    ),
    field(
      "Shape",
      choice(
        "shape",
        shapes.map((shape) => [shape, shape]),
        key.shape,
        (shape) => steps.shapeKey(key.id, shape),
      ),
      { wide: true },
    ),
    ...SIZES.map(([name, word]) => lengthField(bench, `key-${name}`, word, key[name], set(name), true)),
  );
}

function placeOf(bench, key) {
  const { steps } = bench;
  const [x, y] = key.centre;
  return make(
    "fieldset",
    {},
    make("legend", {}, "Place on the slab"),
    lengthField(bench, "key-x", "x", x, (mm) => steps.moveKey(key.id, [mm, y])),
    lengthField(bench, "key-y", "y", y, (mm) => steps.moveKey(key.id, [x, mm])),
    numberField(bench, "key-angle", "Angle", "°", key.angle_deg, (angle) => steps.turnKey(key.id, angle)),
  );
}

function nudges(bench, key) {
  const { steps } = bench;
  const by = bench.nudgeStep;
  const go = (name, word, picture, act) => button(`nudge-${name}`, word, act, { icon: picture, quiet: true });
  const crack = crackUnder(bench.job.state, key);
  const step = choice(
    "nudge-step",
    [
      ["0.1", "0.1 mm"],
      ["1", "1 mm"],
      ["10", "10 mm"],
    ],
    String(by),
    (value) => bench.setNudgeStep(Number(value)),
  );
  return make(
    "fieldset.nudges",
    {},
    make("legend", {}, crack ? `Move along and across ${crack.id}, turn` : "Move and turn"),
    go("back", "Along the crack, to the left", "left", () => steps.slide(-bench.nudgeStep)),
    go("on", "Along the crack, to the right", "right", () => steps.slide(bench.nudgeStep)),
    go("up", "Across the crack, up", "up", () => steps.slide(0, bench.nudgeStep)),
    go("down", "Across the crack, down", "down", () => steps.slide(0, -bench.nudgeStep)),
    go("left", "Turn to the left", "turn_left", () => steps.nudge([0, 0], 5)),
    go("right", "Turn to the right", "turn_right", () => steps.nudge([0, 0], -5)),
    field("Step", step),
  );
}

/** A field for a length in the shown unit; what cannot be read is said, not guessed. */
export function lengthField(bench, name, word, mm, act, positive = false) {
  const before = mm === null ? "" : bare(mm);
  const input = make("input", {
    type: "text",
    "data-name": name,
    value: before,
    autocomplete: "off",
    spellcheck: "false",
    inputmode: units() === "mm" ? "decimal" : "text",
  });
  const take = () => {
    if (input.value === before) return;
    delete input.dataset.dirty;
    const given = parse(input.value);
    if (!Number.isFinite(given) || (positive && given <= 0)) {
      input.setAttribute("aria-invalid", "true");
      bench.refuse(`${word}: “${input.value}” is not a length; write it like 45mm, 4.5cm, 1.75in or 1-3/4in.`);
      return;
    }
    input.removeAttribute("aria-invalid");
    act(given);
  };
  input.addEventListener("change", take);
  return field(word, input, { unit: units() });
}

/** A field for a plain number. */
export function numberField(bench, name, word, unit, value, act) {
  const before = value === null ? "" : plain(value, 1);
  const input = make("input", {
    type: "text",
    inputmode: "decimal",
    "data-name": name,
    value: before,
    autocomplete: "off",
  });
  input.addEventListener("change", () => {
    if (input.value === before) return;
    delete input.dataset.dirty;
    const given = Number(input.value.replace(",", ".").replace("−", "-"));
    if (input.value.trim() === "" || !Number.isFinite(given)) {
      input.setAttribute("aria-invalid", "true");
      bench.refuse(`${word}: “${input.value}” is not a number.`);
      return;
    }
    act(given);
  });
  return field(word, input, { unit });
}

function unheld(bench) {
  return make(
    "section",
    {},
    make("h2", {}, "Without a key"),
    make(
      "ul.notes",
      {},
      ...bench.job.state.plan.unheld.map(({ crack, why }) =>
        make(
          "li",
          {},
          make(
            "button.link",
            {
              type: "button",
              "data-name": `unheld-${crack}`,
              onclick: () => bench.chosen.pick("crack", crack, "list"),
            },
            crack,
          ),
          ` ${why}`,
        ),
      ),
    ),
  );
}

export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
