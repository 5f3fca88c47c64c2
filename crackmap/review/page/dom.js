// Building the page's elements. Every text goes in as text, so that nothing in a job can become markup.

import { icon } from "./icons.js";

/**
 * A new element.
 * @param {string} name "button", "li", ...; classes after dots: "li.row"
 * @param {object} attributes attributes; those that are false, null or undefined are left out, "on..." are listeners
 * @param {...(Node|string|null)} children
 */
export function make(name, attributes = {}, ...children) {
  const [tag, ...classes] = name.split(".");
  const element = document.createElement(tag);
  if (classes.length) element.className = classes.join(" ");
  for (const [key, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else element.setAttribute(key, value === true ? "" : String(value));
  }
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

/**
 * A button with a picture and a word.
 * @param {string} name what it is called in `data-name`: keeps the focus through a redraw
 * @param {string} text
 * @param {() => void} act
 * @param {object} more `icon`, `quiet` (word only for screen readers) and any attribute
 */
export function button(name, text, act, { icon: picture, quiet, ...attributes } = {}) {
  const word = make(quiet ? "span.unseen" : "span.word", {}, text);
  return make(
    "button",
    { type: "button", "data-name": name, title: quiet ? text : null, onclick: act, ...attributes },
    picture ? icon(picture) : null,
    word,
  );
}

/** A labelled field; `input` is an input or select element. */
export function field(label, input, { unit = null, wide = false } = {}) {
  return make(
    wide ? "label.field.wide" : "label.field",
    {},
    make("span.label", {}, label),
    make("span.entry", {}, input, unit ? make("span.unit", { "aria-hidden": "true" }, unit) : null),
  );
}

/** A drop-down list. `options`: [value, text] pairs. */
export function choice(name, options, value, act) {
  const select = make(
    "select",
    { "data-name": name, onchange: () => act(select.value) },
    ...options.map(([key, text]) => make("option", { value: key }, text)),
  );
  select.value = value;
  return select;
}

/** Put new children into `place`, keeping the focus and what was being typed. */
export function refill(place, ...children) {
  const active = place.contains(document.activeElement) ? document.activeElement : null;
  const name = active?.dataset.name;
  const typed = active?.matches("input") && active.dataset.dirty ? active.value : null;
  place.replaceChildren(...children.filter(Boolean));
  if (!name) return;
  const again = place.querySelector(`[data-name="${CSS.escape(name)}"]`);
  if (!again) {
    active && place.querySelector("[data-name]")?.focus({ preventScroll: true });
    return;
  }
  again.focus({ preventScroll: true });
  if (typed !== null) {
    again.value = typed;
    again.dataset.dirty = "yes";
  }
}
