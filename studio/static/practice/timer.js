// The timer of <practice-note>: starts, pauses, ends. It shows minutes that have passed, never what
// is left; once a stretch is long enough it says so in words, and makes no sound.

import { keepTimer, timerOf } from "./kept-here.js";
import { inMinutes, isRunning, passed, played, sinceRest, unbroken } from "./stretches.js";

const LOOK_MS = 1000;
const MINUTE_MS = 60_000;

export class Timer {
  #marks = [];
  #of;
  #at;
  #ended;
  #parts;
  #words;

  /** `of`: the element's data. `parts`, `words`: by name. `ended`: gets the minutes. */
  constructor(of, parts, words, at, ended) {
    [this.#of, this.#parts, this.#words, this.#at, this.#ended] = [of, parts, words, at, ended];
  }

  get isBegun() {
    return this.#marks.length > 0;
  }

  begin(signal) {
    const { timer, go, end } = this.#parts;
    timer.hidden = false;
    go.addEventListener("click", () => this.#press(), { signal });
    end.addEventListener("click", () => this.#end(), { signal });
    addEventListener("storage", () => this.#read(), { signal }); // pressed in another tab
    document.addEventListener("visibilitychange", () => this.#read(), { signal });
    const looking = setInterval(() => this.#show(), LOOK_MS);
    signal.addEventListener("abort", () => clearInterval(looking));
    this.#read();
  }

  /** What was counted has been noted. */
  clear() {
    this.#keep([]);
  }

  #press() {
    this.#keep([...this.#marks, Date.now()]);
  }

  #end() {
    if (isRunning(this.#marks)) this.#press();
    const now = Date.now();
    this.#ended(inMinutes(played(this.#marks, now)), inMinutes(unbroken(this.#marks, now, this.#restMs)));
  }

  get #restMs() {
    return Number(this.#of.restMin) * MINUTE_MS;
  }

  #keep(marks) {
    this.#marks = marks;
    keepTimer(this.#of.person, this.#of.place, marks, this.#at);
    this.#show();
  }

  #read() {
    try {
      this.#marks = timerOf(this.#of.person, this.#of.place, localStorage);
    } catch {
      // a browser that keeps nothing counts as long as the page stands
    }
    this.#show();
  }

  #show() {
    const { time, go, end, rest } = this.#parts;
    const now = Date.now();
    const runs = isRunning(this.#marks);
    say(time, this.#words.time.replace("[minutes]", passed(played(this.#marks, now))));
    say(go, this.#words[runs ? "pause" : this.isBegun ? "go-on" : "go"]);
    end.hidden = !this.isBegun;
    const isLong = sinceRest(this.#marks, now, this.#restMs) >= Number(this.#of.restAfterMin) * MINUTE_MS;
    say(rest, runs && isLong ? this.#words.rest : "");
  }
}

/** Only what changes is written, or a reader would say it again. */
function say(element, words) {
  if (element.textContent !== words) element.textContent = words;
}
