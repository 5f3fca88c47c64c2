// Light or dark: as the system says, unless the maker chose; kept in this browser.

const PLACE = "crackmap-theme";
const SYSTEM_DARK = matchMedia("(prefers-color-scheme: dark)");

/** The theme shown now: "light" or "dark". */
export function theme() {
  return kept() ?? (SYSTEM_DARK.matches ? "dark" : "light");
}

/** Show the other theme from now on and return its name. */
export function switchTheme() {
  const next = theme() === "dark" ? "light" : "dark";
  try {
    localStorage.setItem(PLACE, next);
  } catch {
    /* private windows keep nothing; the switch still works */
  }
  show(next);
  return next;
}

function kept() {
  try {
    const name = localStorage.getItem(PLACE);
    return name === "light" || name === "dark" ? name : null;
  } catch {
    return null;
  }
}

function show(name) {
  document.documentElement.dataset.theme = name;
  dispatchEvent(new CustomEvent("theme", { detail: name }));
}

SYSTEM_DARK.addEventListener("change", () => show(theme()));
show(theme());
