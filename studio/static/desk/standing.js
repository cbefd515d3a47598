// What stands: the state of the marks, and a page made to say it. Answers come in here; one that is
// late changes nothing, and none moves the selection. Without a document: the page is handed in.

import * as states from "./state.js";

const AGAIN_MS = 5000;

export class Standing {
  #page;
  #ask;
  #later;
  state;

  /**
   * page: { put(parts, form), order(), quiet(), show(state), takeAway(act), formOf(act), writtenAgain(form) };
   * ask(): all that stands now, as an answer, or null; later(callback, ms): a clock.
   */
  constructor(page, ask, begun, later = setTimeout) {
    this.#page = page;
    this.#ask = ask;
    this.#later = (...what) => later(...what);
    this.state = begun;
  }

  /** Another state: its decisions and what else was pressed are shown. */
  become(state) {
    this.state = state;
    this.#page.show(state);
  }

  /** An act was carried out. A late answer, and one that leaves something out, leads to all anew. */
  async settle(act, answer) {
    const { version } = this.state;
    this.state = states.settled(this.state, act.key);
    this.#page.takeAway(act);
    this.take(answer);
    if (answer.version < version || answer.version > version + 1) await this.refresh();
  }

  /** An act was refused: the page goes back to what is true. The acts that fall, and its form. */
  async refuse(act, answer) {
    const before = this.state.queue;
    this.state = states.refused(this.state, act.key);
    const fallen = before.filter((one) => one.key !== act.key && !this.state.queue.includes(one));
    this.#page.takeAway(act);
    const form = answer.parts?.length ? this.#page.formOf(act) : null;
    if (answer.parts?.length) this.take(answer, form);
    else await this.refresh();
    if (form) this.#page.writtenAgain(form);
    return { fallen, form };
  }

  /** All that stands now; without a line the page shows at least what is known, and asks again. */
  async refresh() {
    const answer = await this.#ask();
    if (answer?.outcome === "done") return this.take(answer);
    if (!answer) this.#later(() => this.refresh(), AGAIN_MS);
    return this.become(this.state);
  }

  /** What an answer says; `form` is taken over as it comes, since its words were refused. */
  take({ version, marks, parts }, form = null) {
    if (version < this.state.version) return this.become(this.state);
    this.state = states.merged(this.state, version, marks);
    this.#page.put(parts, form);
    return this.become(states.ordered(this.state, this.#page.order(), this.#page.quiet?.()));
  }
}
