// Two recordings in step. Pure but for `InStep`, which holds two media elements: the second is where
// the first is, and `offset` seconds on. Drift is made up for by a little more or less speed, which
// nobody sees; by a jump only where it is large.

export const SPEEDS = [0.25, 0.5, 1];
const FINE_S = 0.015; // less than a frame of most phones
const JUMP_S = 0.3;
const MOST = 0.15; // of the speed: more would be seen
const GAIN = 0.8; // a drift is gone in about a second

/** What to do about a drift (seconds the second is ahead of where it should be). */
export function correction(drift, speed) {
  if (Math.abs(drift) > JUMP_S) return { jump: true, rate: speed };
  if (Math.abs(drift) <= FINE_S) return { jump: false, rate: speed };
  const by = Math.max(-MOST, Math.min(MOST, -GAIN * (drift / speed)));
  return { jump: false, rate: speed * (1 + by) };
}

/** Where the first may stand, so that both are within their recordings. */
export function within(seconds, offset, first, second) {
  const from = Math.max(0, -offset);
  return Math.max(from, Math.min(seconds, first, second - offset));
}

export class InStep {
  offset = 0;
  speed = 1;
  #first;
  #second;
  #held = false; // one waits for the other's data
  #wanted = false; // both are to play
  #timer = 0;

  constructor(first, second, { told, signal }) {
    this.#first = first;
    this.#second = second;
    for (const media of this.#both) {
      media.preservesPitch = true;
      media.addEventListener("seeked", told, { signal });
      media.addEventListener("loadedmetadata", told, { signal });
    }
    this.told = told;
    signal.addEventListener("abort", () => this.pause());
  }

  get #both() {
    return [this.#first, this.#second];
  }

  get playing() {
    return this.#wanted;
  }

  get seconds() {
    return this.#first.currentTime;
  }

  /** Seconds that the second is ahead of where it should be. */
  get drift() {
    return this.#second.currentTime - this.#first.currentTime - this.offset;
  }

  seek(seconds) {
    const at = within(seconds, this.offset, length(this.#first), length(this.#second));
    this.#first.currentTime = at;
    this.#second.currentTime = at + this.offset;
  }

  /** One of them alone goes to a place: from there on they are in step again. */
  place(media, seconds) {
    this.pause();
    media.currentTime = Math.max(0, Math.min(seconds, length(media)));
    this.offset = this.#second.currentTime - this.#first.currentTime;
  }

  async play() {
    this.seek(this.seconds);
    this.#wanted = true;
    this.setSpeed(this.speed);
    try {
      await Promise.all(this.#both.map((media) => media.play()));
    } catch {
      this.pause(); // the browser wants a press first
      return false;
    }
    clearInterval(this.#timer);
    this.#timer = setInterval(() => this.#keep(), 40);
    return true;
  }

  pause() {
    this.#wanted = this.#held = false;
    clearInterval(this.#timer);
    for (const media of this.#both) media.pause();
  }

  setSpeed(speed) {
    this.speed = speed;
    for (const media of this.#both) media.playbackRate = speed;
  }

  #keep() {
    if (this.#both.some((media) => media.ended)) this.pause();
    else if (this.#both.some(waits)) this.#hold();
    else if (this.#held) this.#goOn();
    else if (!this.#both.some((media) => media.seeking)) this.#correct();
    this.told();
  }

  /** Who is ready waits for the one that is not. */
  #hold() {
    this.#held = true;
    for (const media of this.#both) if (!waits(media)) media.pause();
  }

  #goOn() {
    this.#held = false;
    for (const media of this.#both) if (media.paused) media.play().catch(() => this.pause());
  }

  #correct() {
    const { jump, rate } = correction(this.drift, this.speed);
    if (jump) this.#second.currentTime = this.#first.currentTime + this.offset;
    if (this.#second.playbackRate !== rate) this.#second.playbackRate = rate;
  }
}

const length = (media) => media.duration || 0;
const waits = (media) => !media.ended && media.readyState < HTMLMediaElement.HAVE_FUTURE_DATA;
