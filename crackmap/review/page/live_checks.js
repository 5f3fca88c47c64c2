// The card over the photo that says, while a key is dragged, which checks it would not keep there.

import { icon } from "./icons.js";
import { make } from "./dom.js";
import { checkLine, failing, verdict } from "./words.js";

const MOST_LINES = 4;

export class LiveChecks {
  constructor() {
    this.card = document.getElementById("live");
  }

  /**
   * @param {object | null} answer the server's {key, ok}
   * @param {string | null} refusal why the key cannot be there at all
   * @param {string[]} givingWay keys in its way
   */
  show(id, answer, refusal, givingWay = []) {
    const bad = answer ? failing(answer.key) : [];
    const good = answer && !bad.length;
    this.card.className = good ? "good" : "bad";
    this.card.replaceChildren(
      make(
        "p.head",
        {},
        icon(good ? "good" : "bad"),
        answer ? `${id}: ${verdict(answer.key)}` : `${id} cannot be here`,
      ),
      ...(refusal
        ? [make("p", {}, refusal)]
        : bad.slice(0, MOST_LINES).map((check) => make("p", {}, checkLine(check)))),
    );
    if (bad.length > MOST_LINES) this.card.append(make("p", {}, `and ${bad.length - MOST_LINES} more`));
    if (givingWay.length) this.card.append(make("p", {}, `${givingWay.join(", ")} would give way`));
    this.card.hidden = false;
  }

  hide() {
    this.card.hidden = true;
  }
}
