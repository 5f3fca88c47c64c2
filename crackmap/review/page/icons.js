// The page's small pictures, drawn for it: one path each on a 20 by 20 square.

const PATHS = {
  look: "M4 10h12M10 4v12M7 6l3-3 3 3M7 14l3 3 3-3M6 7l-3 3 3 3M14 7l3 3-3 3",
  key: "M5 3h10l-3.2 7L15 17H5l3.2-7z",
  crack: "M2 13l4-4 3 2 3-5 2 3 4-4",
  probe: "M10 2v10M7 9l3 3 3-3M3 16h14",
  top: "M3 5h14v10H3zM3 5l2 2M17 5l-2 2M3 15l2-2M17 15l-2-2",
  keep_out: "M4 4h12v12H4zM4 10l6-6M4 16L16 4M10 16l6-6",
  screws: "M10 6a4 4 0 1 1 0 8 4 4 0 0 1 0-8zM7.5 10h5M10 7.5v5",
  edge: "M3 6c4-3 6 1 9-1s5 1 5 3-1 4 0 6-4 2-7 1-6 1-7-1 2-4 0-8z",
  undo: "M7 5L3 9l4 4M3 9h9a4 4 0 0 1 0 8H9",
  redo: "M13 5l4 4-4 4M17 9H8a4 4 0 0 0 0 8h3",
  solve: "M10 3v3M10 14v3M3 10h3M14 10h3M5.5 5.5l2 2M12.5 12.5l2 2M14.5 5.5l-2 2M7.5 12.5l-2 2",
  plans: "M3 4h6v5H3zM11 4h6v5h-6zM3 11h6v5H3zM11 11h6v5h-6z",
  compare: "M3 4h14v12H3zM10 2v16M13 8l2 2-2 2M7 8l-2 2 2 2",
  export: "M10 3v9M6.5 8.5L10 12l3.5-3.5M3 13v4h14v-4",
  theme: "M10 3a7 7 0 1 0 0 14zM10 3a7 7 0 0 1 0 14",
  help: "M7 7.5a3 3 0 1 1 4.2 2.7c-.8.4-1.2.9-1.2 1.8M10 15.2v.6",
  plus: "M10 4v12M4 10h12",
  minus: "M4 10h12",
  whole: "M3 7V3h4M13 3h4v4M17 13v4h-4M7 17H3v-4M6 8h8v4H6z",
  turn_left: "M5 4v4h4M5 8a6 6 0 1 1-1 4",
  turn_right: "M15 4v4h-4M15 8a6 6 0 1 0 1 4",
  left: "M12 4l-6 6 6 6",
  right: "M8 4l6 6-6 6",
  up: "M4 12l6-6 6 6",
  down: "M4 8l6 6 6-6",
  fixed: "M7 9V6a3 3 0 0 1 6 0v3M5 9h10v8H5z",
  loose: "M7 9V6a3 3 0 0 1 6-1M5 9h10v8H5z",
  refuse: "M5 5l10 10M15 5L5 15",
  good: "M4 10.5l4 4 8-9",
  bad: "M10 3l8 14H2zM10 8v4M10 14v1",
  close: "M5 5l10 10M15 5L5 15",
};

/** An icon as an SVG element, hidden from screen readers: the button's words speak. */
export function icon(name) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 20 20");
  svg.setAttribute("aria-hidden", "true");
  svg.classList.add("icon");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  path.setAttribute("d", PATHS[name]);
  svg.append(path);
  return svg;
}
