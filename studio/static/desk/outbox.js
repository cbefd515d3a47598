// Sends what was pressed: in order, one at a time, each again until the server has it. No document
// here; whoever makes an outbox gives it a way to post, a clock, and is told what became of an act.
//
// post(act) resolves to { outcome, … }: "done", "refused", "failed" (the server broke) or "held"
// (nobody is logged in, or somebody else); it rejects where the line is lost.

const FIRST_MS = 500;
const LONGEST_MS = 15_000;
const FAILURES = 6; // of the server itself, until an act is given up and the next may go

/** How long to wait after so many failures in a row. */
export const backOff = (failures) => Math.min(FIRST_MS * 2 ** (failures - 1), LONGEST_MS);

export class Outbox {
  #post;
  #told;
  #later;
  #waiting = null; // cancels the next attempt
  #sending = false;
  #failures = 0;
  #broken = 0;
  #acts = [];
  #stopped = false;
  held = true; // until it is known what was left from before

  /** told: { settled(act, answer), refused(act, answer), lost(act), held(answer), changed() } */
  constructor({ post, told, later = laterByClock }) {
    this.#post = post;
    this.#told = told;
    this.#later = later;
  }

  // -- actions --------------------------------------------------------------------------------

  get acts() {
    return this.#acts;
  }

  get empty() {
    return this.#acts.length === 0;
  }

  /** Whether the last attempt did not get through. */
  get lost() {
    return this.#failures > 0;
  }

  /** Begin to send: first what is left from before. */
  begin(acts) {
    this.#acts = [...acts, ...this.#acts];
    this.#told.changed();
    this.again();
  }

  push(act) {
    this.#acts = [...this.#acts, act];
    this.#told.changed();
    if (!this.#waiting) this.#go();
  }

  /** An act that would take back what was never done is not sent. */
  drop(key) {
    this.#acts = this.#acts.filter((act) => act.key !== key);
    this.#told.changed();
  }

  /** Try now: the line may be back, or somebody logged in. */
  again() {
    if (this.#sending || this.#stopped) return;
    this.held = false;
    this.#rest();
    this.#go();
  }

  stop() {
    this.#stopped = true;
    this.#rest();
  }

  // -- internals ------------------------------------------------------------------------------

  async #go() {
    const [act] = this.#acts;
    if (!act || this.#sending || this.held || this.#stopped) return;
    this.#sending = true;
    let answer = null;
    try {
      answer = await this.#post(act);
    } catch {
      answer = { outcome: "lost" };
    }
    if (this.#stopped) return;
    try {
      await this.#answered(act, answer);
    } finally {
      this.#sending = false;
    }
    if (!this.#waiting) this.#go();
  }

  async #answered(act, answer) {
    if (answer.outcome === "held") {
      this.held = true;
      return this.#told.held(answer);
    }
    if (answer.outcome === "lost" || (answer.outcome === "failed" && ++this.#broken < FAILURES)) {
      this.#failures += 1;
      this.#waiting = this.#later(() => this.again(), backOff(this.#failures));
      return this.#told.lost(act, answer);
    }
    this.#failures = this.#broken = 0;
    this.#acts = this.#acts.filter(({ key }) => key !== act.key);
    await this.#told[answer.outcome === "done" ? "settled" : "refused"](act, answer);
    return this.#told.changed();
  }

  #rest() {
    this.#waiting?.();
    this.#waiting = null;
  }
}

function laterByClock(callback, ms) {
  const timer = setTimeout(callback, ms);
  return () => clearTimeout(timer);
}
