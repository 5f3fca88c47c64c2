// The job as the server has it, and the only road to change it: one change at a time, each told to all who listen.

const CHANGED_ELSEWHERE = "Another window changed this job; this is its state now.";
const WAIT_FOR_SERVER =
  "The program behind this page does not answer. If its window is closed, start it again with " +
  "“crackmap review” and open the link that it prints; nothing that was saved is lost.";

/** Events: "state" (detail {before, after, expected}), "said" ({text}), "refused" ({text}), "busy" ({busy}). */
export class Job extends EventTarget {
  constructor() {
    super();
    this.state = null;
    this.pending = []; // changes that wait their turn
    this.working = false;
    this.trying = false;
    this.nextTry = null;
  }

  /** Read the whole state; the first thing done. */
  async open() {
    this.#take(await this.#get("/job"), null);
  }

  /** Look whether another window changed the job meanwhile. */
  async refresh() {
    if (this.working) return;
    const fresh = await this.#get("/job").catch(() => null);
    if (fresh && !this.working && fresh.version !== this.state.version)
      this.#takeOver(fresh, CHANGED_ELSEWHERE);
  }

  /**
   * Ask for a change.
   * @param {(state: object) => object | null} action made when its turn comes, as an earlier change may rename things
   * @param {string} done what to say when it is done
   * @param {(action: object) => object | null} expected what should be chosen afterwards: {kind, at: [x, y]}
   * @returns {Promise<boolean>} whether it was done
   */
  change(action, done, expected = () => null) {
    return this.#queue((state) => {
      const made = action(state);
      return made && { path: "/change", body: { action: made }, done, expected: expected(made) };
    });
  }

  undo() {
    return this.#queue((s) =>
      s.can_undo
        ? { path: "/undo", body: {}, done: `Undone: ${s.undo_words ?? "the last change"}.` }
        : this.#say("There is nothing to undo."),
    );
  }
  redo() {
    return this.#queue((s) =>
      s.can_redo
        ? { path: "/redo", body: {}, done: `Done again: ${s.redo_words ?? "the change"}.` }
        : this.#say("There is nothing to do again."),
    );
  }
  solve() {
    return this.#queue(() => ({ path: "/solve", body: {}, done: "Solved anew round the fixed keys." }));
  }

  /** Write the job's drawings and sheets; returns {folder, files} or null. */
  async export() {
    await this.settled();
    return this.#post("/export", {}).then((answer) => (answer.ok ? answer.body : this.#refuse(answer)));
  }

  plans() {
    return this.#get("/plans");
  }

  /** Resolves when no change is waiting or under way. */
  async settled() {
    while (this.working) await new Promise((done) => this.addEventListener("busy", done, { once: true }));
  }

  /** How a key would do: at most one question at a time, only the newest waits. */
  try(action, answered) {
    this.nextTry = { action, answered };
    if (!this.trying) this.#tryNext();
  }

  /** Forget a question that was not yet asked. */
  stopTrying() {
    this.nextTry = null;
  }

  async #tryNext() {
    this.trying = true;
    while (this.nextTry) {
      const { action, answered } = this.nextTry;
      this.nextTry = null;
      performance.mark("try-asked");
      const answer = await this.#post("/try", { action }).catch(() => null);
      performance.measure("try", "try-asked");
      if (answer?.ok) answered(answer.body, null);
      else if (answer?.status === 422) answered(null, answer.body.error);
    }
    this.trying = false;
  }

  #queue(make) {
    return new Promise((resolve) => {
      this.pending.push({ make, resolve });
      if (!this.working) this.#work();
    });
  }

  async #work() {
    this.working = true;
    this.#tell("busy", { busy: true });
    while (this.pending.length) {
      const { make, resolve } = this.pending.shift();
      const asked = make(this.state);
      resolve(asked ? await this.#send(asked) : false);
    }
    this.working = false;
    this.#tell("busy", { busy: false });
  }

  async #send({ path, body, done, expected = null }) {
    performance.mark("change-asked");
    const answer = await this.#post(path, body).catch(() => null);
    performance.measure("change", "change-asked");
    if (answer === null) {
      this.#tell("refused", { text: WAIT_FOR_SERVER });
      return false;
    }
    if (answer.ok) {
      this.#take(answer.body, expected);
      if (done) this.#say(done);
      return true;
    }
    if (answer.status === 409) {
      this.#takeOver(answer.body.state, answer.body.error);
      return false;
    }
    this.#refuse(answer);
    return false;
  }

  #takeOver(state, why) {
    for (const { resolve } of this.pending.splice(0)) resolve(false);
    if (state) this.#take(state, null);
    this.#tell("refused", {
      text: `${why ?? CHANGED_ELSEWHERE} Your last step was not taken; take it again if it still holds.`,
    });
  }

  #refuse({ status, body }) {
    this.#tell("refused", { text: body?.error ?? `The program behind this page refused (${status}).` });
    return null;
  }

  #take(state, expected) {
    const before = this.state;
    this.state = state;
    this.#tell("state", { before, after: state, expected });
  }

  #say(text) {
    this.#tell("said", { text });
    return null;
  }
  #tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  async #get(path) {
    const answer = await fetch(path, { cache: "no-store" });
    if (!answer.ok) throw new Error(WAIT_FOR_SERVER);
    return answer.json();
  }

  async #post(path, body) {
    const answer = await fetch(path, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ version: this.state.version, ...body }),
    });
    return { ok: answer.ok, status: answer.status, body: await answer.json().catch(() => null) };
  }
}
