// The page put together: the job, what is chosen, the photo, the lists, and the words said.

import { Chosen } from "./chosen.js";
import { Compare } from "./compare.js";
import { askDepth, askKeepOut, showExport, showHelp, showPlans } from "./dialogs.js";
import { button, refill } from "./dom.js";
import { Gestures } from "./gestures.js";
import { Job } from "./job.js";
import { Keyboard } from "./keyboard.js";
import { shown, startUnits, switchUnits, units } from "./lengths.js";
import { LiveChecks } from "./live_checks.js";
import { Panel } from "./panel.js";
import { Pointing } from "./pointing.js";
import { Stage } from "./stage.js";
import { Steps } from "./steps.js";
import { switchTheme, theme } from "./theme.js";
import { counted, failing, ml } from "./words.js";

const SAID_FOR = 6000; // [ms]
const REFUSED_FOR = 20000; // [ms]

const job = new Job();
const chosen = new Chosen(job);
const steps = new Steps(job, chosen);
const stage = new Stage(job, chosen);
const pointing = new Pointing(stage);
const compare = new Compare(job);
/** What every part of the page works with. */
export const bench = {
  job,
  chosen,
  steps,
  stage,
  pointing,
  compare,
  nudgeStep: 1,
  setNudgeStep: (step) => {
    bench.nudgeStep = step;
  },
  point: (way) => STARTERS[way](),
  pointEnd: (crack, end, from) => pointing.start("end", ([at]) => steps.endCrack(crack.id, end, at), from),
  pointScrews: (area) => pointing.start("screws", (screws) => askKeepOut(bench, area, screws), area[0]),
  refuse: (text) => tell("refused", text, REFUSED_FOR),
  showPlans: () => openPlans(),
};
const STARTERS = {
  key: () => pointing.start("key", ([at]) => steps.addKey(at), chosen.at),
  crack: () => pointing.start("crack", (points) => steps.drawCrack(points)),
  probe: () => pointing.start("probe", ([at]) => askDepth(bench, at), chosen.at),
  top: () => pointing.start("top", (points) => steps.finishedTop(points)),
  keep_out: () => pointing.start("keep_out", (area) => askKeepOut(bench, area, [])),
  edge: () => pointing.start("edge", (points) => steps.outline(points)),
};

const fading = {};

/** Say something in the place `id`: kept on the screen for a while, and read out by screen readers. */
function tell(id, text, howLong) {
  const place = document.getElementById(id);
  place.textContent = text;
  place.classList.add("shown");
  clearTimeout(fading[id]);
  fading[id] = setTimeout(() => place.classList.remove("shown"), howLong);
  if (id === "said") return;
  place.append(
    button("refused-close", "Close this message", () => place.classList.remove("shown"), {
      icon: "close",
      quiet: true,
    }),
  );
}

async function openPlans() {
  await job.settled();
  tell("said", "Working out the plans to choose from …", SAID_FOR);
  try {
    const plans = await job.plans();
    document.getElementById("said").classList.remove("shown");
    showPlans(plans, job.state.survey.outline, (name) => steps.choosePlan(name));
  } catch (error) {
    bench.refuse(error.message);
  }
}

async function exportAll() {
  tell("said", "Writing the drawings and sheets …", 60000);
  const written = await job.export().catch((error) => {
    bench.refuse(error.message);
    return null;
  });
  document.getElementById("said").classList.remove("shown");
  if (written) showExport(written);
}

function drawBar() {
  const { state } = job;
  document.title = `${state.title}: review`;
  document.getElementById("title").textContent = state.title;
  const bad = state.plan.keys.filter((key) => failing(key).length).length;
  document.getElementById("facts").textContent = [
    `${shown(state.thickness_mm, 0)} thick`,
    counted(state.plan.keys.length, "key"),
    bad ? `${counted(bad, "key")} to look at` : "checks kept",
    `resin ${ml(state.resin.mix_ml)}`,
  ].join(" · ");
  refill(
    document.getElementById("bar-buttons"),
    button("undo", "Undo", () => job.undo(), {
      icon: "undo",
      disabled: !state.can_undo,
      title: state.undo_words ? `Undo: ${state.undo_words}` : "Undo",
    }),
    button("redo", "Do again", () => job.redo(), {
      icon: "redo",
      disabled: !state.can_redo,
      title: state.redo_words ? `Do again: ${state.redo_words}` : "Do again",
    }),
    button("compare", "Before and after", () => (compare.open ? compare.hide() : compare.show()), { icon: "compare" }),
    button(
      "units",
      units() === "mm" ? "mm" : "inches",
      () => {
        switchUnits();
        redrawAll();
      },
      { class: "plain", "aria-label": units() === "mm" ? "mm: switch to inches" : "inches: switch to mm" },
    ),
    button(
      "theme",
      `Switch to the ${theme() === "dark" ? "light" : "dark"} theme`,
      () => {
        switchTheme();
        drawBar();
      },
      { icon: "theme", quiet: true },
    ),
    button("help", "Help: keys and signs", () => showHelp(), { icon: "help", quiet: true }),
    button("export", "Export", () => exportAll(), { icon: "export", class: "first" }),
  );
}

function redrawAll() {
  drawBar();
  panel.redraw();
  stage.refresh();
}

function zoomButtons() {
  const middle = () => stage.view.size.map((side) => side / 2);
  const by = (factor) => () => {
    stage.view.glideAt(middle(), factor);
    stage.refresh();
  };
  document.getElementById("zoom").append(
    button("zoom-in", "Nearer", by(1.6), { icon: "plus", quiet: true }),
    button("zoom-out", "Farther", by(1 / 1.6), { icon: "minus", quiet: true }),
    button("zoom-all", "The whole slab", () => stage.showAll(), { icon: "whole", quiet: true }),
  );
}

job.addEventListener("state", ({ detail }) => {
  if (!detail.before) startUnits(detail.after.units);
  drawBar();
});
const panel = new Panel(bench);
bench.gestures = new Gestures(job, chosen, stage, steps, pointing, new LiveChecks());
new Keyboard(bench);
pointing.offer(STARTERS);
zoomButtons();

job.addEventListener("said", ({ detail }) => tell("said", detail.text, SAID_FOR));
job.addEventListener("refused", ({ detail }) => bench.refuse(detail.text));
job.addEventListener("busy", ({ detail }) => document.body.classList.toggle("busy", detail.busy));
addEventListener("focus", () => job.state && job.refresh());
addEventListener("beforeunload", (event) => {
  if (job.working) event.preventDefault();
});

job.open().then(
  () => {
    document.body.classList.add("ready");
    performance.mark("ready");
  },
  (error) => bench.refuse(error.message),
);
