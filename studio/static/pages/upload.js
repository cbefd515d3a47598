// One recording on its way, in pieces, as a client of tus 1.0.0. What was begun is the server's to
// know: sending goes on after a lost connection, a log-out, a reload and a closed tab, from any page
// of the same person. How far it is, is asked of the server while a piece is on its way.

import { isOut, outcome, sentenceOf, UNREADABLE, worthAnother } from "./answers.js";
import { isReadable } from "./look.js";

const PIECE_BYTES = 8 * 1024 * 1024; // cut from the file on disk, never read whole
const RETRY_MS = [500, 1000, 2000, 4000, 8000, ...Array(240).fill(15_000)]; // for an hour
const STALL_MS = 45_000; // nothing arrived for so long: the connection is dead, though none said so
const LOOK_MS = 2_000;
const NAME_LETTERS = 200; // its end, with what kind of file it is
const SETTLE_MS = 500; // a connection that is broken off here is noticed there

class Over extends Error {} // ends the steps from within; what there is to say has been said

export class Upload {
  #file;
  #server;
  #page;
  #address = null;
  #arrived = 0;
  #moved = 0;
  #state = "";
  #failures = 0; // since the server last took anything
  #elsewhere = false; // another tab was sending it when this one last tried
  #piece = null; // what breaks off the piece that is on its way
  #over = false;
  #settle;
  #wake = () => {};
  #listening = new AbortController();

  /**
   * `page`: {said, words(), begun(words), show(state, arrived, sentence)}. `said` names the
   * recording itself, `words()` is what the page says of it now, `begun` tells what the server has
   * of that; the states are those of standing.js.
   */
  constructor(file, server, page) {
    this.#file = file;
    this.#server = server;
    this.#page = page;
    /** Never rejects: {next} when it was taken, else {sentence, refused}; {} when stopped. */
    this.ended = new Promise((resolve) => { this.#settle = resolve; });
    const { signal } = this.#listening;
    window.addEventListener("online", () => this.#wake(), { signal });
    window.addEventListener("offline", () => this.#lose(), { signal });
    window.addEventListener("focus", () => this.#wake(), { signal });
    document.addEventListener("visibilitychange", () => this.#wake(), { signal });
    this.#run();
  }

  /** Tell the server what was typed; true once it has it. */
  async say(words) {
    return this.#address !== null && (await this.#server.say(this.#address, words)).status === 204;
  }

  async stop() {
    this.#end({});
    this.#page.show("stopped", this.#arrived);
    await new Promise((resolve) => { setTimeout(resolve, SETTLE_MS); });
    const { offset } = this.#address ? await this.#server.head(this.#address) : {};
    this.#page.show("stopped", offset ?? this.#arrived);
  }

  // -- steps

  async #run() {
    const watch = setInterval(() => this.#look(), LOOK_MS);
    try {
      this.#enter("sending");
      await this.#begin();
      while (this.#arrived < this.#file.size) {
        await this.#send();
      }
      this.#enter("checking");
      const answer = await this.#insist(
        () => this.#server.arrived(this.#address, this.#page.words()),
        (status) => status === 0,
      );
      this.#end(outcome(answer));
    } catch (error) {
      if (!(error instanceof Over)) {
        this.#end({ sentence: sentenceOf({ status: 500, type: "", body: "" }), refused: false });
        throw error;
      }
    } finally {
      clearInterval(watch);
    }
  }

  async #begin() {
    let words = {};
    const begun = await this.#insist(() => {
      words = this.#page.words();
      const filename = [...this.#file.name].slice(-NAME_LETTERS).join("");
      return this.#server.begin(this.#file.size, { filename, ...this.#page.said, ...words });
    });
    this.#must(begun);
    this.#address = begun.address;
    this.#page.begun(words);
    this.#know(begun.offset);
  }

  /** Send one piece from where the server is; what goes wrong is asked about before the next. */
  async #send() {
    if (this.#failures) await this.#lookAgain();
    if (this.#arrived >= this.#file.size) return;
    this.#enter("sending");
    this.#moved = Date.now();
    this.#piece = new AbortController();
    const piece = this.#file.slice(this.#arrived, this.#arrived + PIECE_BYTES);
    const answer = await this.#server.patch(this.#address, this.#arrived, piece, this.#piece.signal);
    this.#piece = null;
    if (this.#over) {
      throw new Over();
    }
    this.#elsewhere = answer.status === 409 || answer.status === 423;
    if (answer.status === 204) {
      this.#failures = 0;
      this.#know(answer.offset);
      return;
    }
    if (!isOut(answer) && !worthAnother(answer.status)) {
      this.#must(answer);
    }
    await this.#rest(answer);
  }

  /** Where the server is; while another tab brings it forward, that is looked at and not sent too. */
  async #lookAgain() {
    for (;;) {
      const head = await this.#insist(() => this.#server.head(this.#address));
      this.#must(head);
      const moved = head.offset > this.#arrived;
      this.#know(head.offset);
      if (!this.#elsewhere || !moved || this.#arrived >= this.#file.size) return;
      this.#failures = 1;
      await this.#pause(LOOK_MS);
    }
  }

  /** Ask until there is an answer that is worth having, over lost lines and log-outs. */
  async #insist(question, again = worthAnother) {
    for (;;) {
      const answer = await question();
      if (this.#over) {
        throw new Over();
      }
      if (!isOut(answer) && !again(answer.status)) {
        return answer;
      }
      await this.#rest(answer);
    }
  }

  /** Wait before the next try: for the line, for another connection, or to be logged in again. */
  async #rest(answer) {
    const out = isOut(answer);
    this.#enter(out ? "out" : "waiting", out ? sentenceOf(answer) : "");
    if (!(await isReadable(this.#file))) {
      this.#end({ sentence: UNREADABLE, refused: false });
    }
    const ms = answer.status === 401 ? LOOK_MS : RETRY_MS[this.#failures++];
    this.#failures = Math.max(this.#failures, 1);
    if (ms === undefined) {
      this.#must({ ...answer, status: answer.status || 503 });
    }
    await this.#pause(ms);
  }

  async #pause(ms) {
    await new Promise((resolve) => {
      this.#wake = resolve;
      setTimeout(resolve, ms);
    });
    if (this.#over) {
      throw new Over();
    }
  }

  // -- while a piece is on its way

  async #look() {
    if (!this.#piece) {
      return;
    }
    const head = await this.#server.head(this.#address);
    const { offset } = head;
    if (isOut(head)) {
      this.#piece?.abort(); // nobody reads it to its end; what it is asked next says why
    } else if (offset > this.#arrived && this.#piece) {
      this.#moved = Date.now();
      this.#know(offset);
    } else if (Date.now() - this.#moved > STALL_MS) {
      this.#piece?.abort();
    }
  }

  /** The browser knows that the network is gone: say so at once. */
  #lose() {
    if (this.#piece) {
      this.#enter("waiting");
      this.#piece.abort();
    }
  }

  // -- what is known

  #know(offset) {
    this.#arrived = offset ?? this.#arrived;
    this.#page.show(this.#state, this.#arrived);
  }

  #enter(state, sentence = "") {
    this.#state = state;
    this.#page.show(state, this.#arrived, sentence);
  }

  /** End with the answer's sentence unless it is a good one. */
  #must(answer) {
    if (answer.status < 200 || answer.status > 299) {
      this.#end({ sentence: sentenceOf(answer), refused: false });
      throw new Over();
    }
  }

  #end(result) {
    if (!this.#over) {
      this.#over = true;
      this.#listening.abort();
      this.#piece?.abort();
      this.#wake();
      this.#settle(result);
    }
  }
}
