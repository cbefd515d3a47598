// <clip-player>: the video or audio element, with a place in time even while nothing can be
// played. Emits "desk:time" { seconds, playing } at every change, and at every frame in play.

export const SPEEDS = [0.25, 0.4, 0.5, 0.6, 0.75, 0.9, 1];
const LANDED_S = 0.001; // a seek lands on the first sample at or after this
const SHORT_S = 0.06; // so long before where it is to stop, since it is looked at once a frame

export class ClipPlayer extends HTMLElement {
  #aborter = null;
  #media = null;
  #place = 0;
  #pending = false; // a place that waits until the seek before it has landed
  #loop = null;
  #until = null; // where what plays now is to stop
  #frame = 0;
  #shown = null; // when the frame that is on the screen began; null while that is not known

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    this.#media = this.querySelector("video, audio");
    if (this.#media.tagName === "VIDEO") this.#media.removeAttribute("controls");
    this.#media.preservesPitch = true;
    for (const name of ["play", "pause", "seeked", "ended"]) {
      this.#media.addEventListener(name, () => this.#changed(), { signal });
    }
    for (const name of ["seeked", "canplay"]) {
      this.#media.addEventListener(name, () => this.#pending && this.#go(), { signal });
    }
    this.#media.addEventListener("seeking", () => (this.#shown = null), { signal });
    this.#watchFrames(signal);
    // In a hidden tab no frames are drawn, but the loop is still to be heard.
    this.#media.addEventListener("timeupdate", () => this.#turn(), { signal });
    this.#media.addEventListener("loadeddata", () => this.#loaded(), { signal });
    this.#media.addEventListener("click", () => this.toggle(), { signal });
    this.#media.addEventListener("error", () => this.#emit("desk:unplayable"), { signal });
  }

  disconnectedCallback() {
    this.#aborter.abort();
    cancelAnimationFrame(this.#frame);
  }

  // -- actions --------------------------------------------------------------------------------

  get ready() {
    return Boolean(this.#media.currentSrc || this.#media.src);
  }

  get playing() {
    return !this.#media.paused && !this.#media.ended;
  }

  get seconds() {
    const known = this.ready && this.#media.readyState > 0 && !this.#pending;
    return known ? this.#media.currentTime : this.#place;
  }

  /** When the frame on the screen began, where the browser says so, else the place in time. */
  get shown() {
    return this.#pending || this.#shown === null ? this.seconds : this.#shown;
  }

  get duration() {
    return this.#media.duration || Infinity;
  }

  get speed() {
    return this.#media.playbackRate;
  }

  get loop() {
    return this.#loop;
  }

  /** A playable copy has become ready. */
  load(address) {
    this.#place = this.seconds;
    this.#pending = true;
    this.#media.src = address;
    this.#media.load();
  }

  seek(seconds) {
    this.#until = null;
    this.#place = Math.min(Math.max(seconds, 0), this.duration);
    this.#go();
    this.#emit("desk:time");
  }

  async play() {
    if (!this.ready) return false;
    if (this.#loop && (this.seconds < this.#loop[0] || this.seconds >= this.#loop[1])) {
      this.seek(this.#loop[0]);
    }
    try {
      await this.#media.play();
    } catch {
      return false; // the browser wants a press first, or the element was taken away
    }
    return true;
  }

  pause() {
    this.#media.pause();
  }

  toggle() {
    return this.playing ? this.pause() : this.play();
  }

  /** What plays now stops before a place; where that is behind it, at once. */
  stopBefore(seconds) {
    this.#until = seconds;
    this.#turn();
  }

  /** A press is heard from its place on, even while a seek to another is under way. */
  playFrom(seconds, until = null) {
    this.seek(seconds);
    this.#until = until;
    if (this.#pending && this.ready) {
      this.#pending = false;
      this.#media.currentTime = this.#place;
    }
    return this.play();
  }

  /** To the next slower (-1) or faster (1) speed; pitch is kept. */
  changeSpeed(by) {
    const at = SPEEDS.findIndex((speed) => speed >= this.speed - LANDED_S);
    const next = SPEEDS[Math.min(Math.max(at + by, 0), SPEEDS.length - 1)];
    this.#media.playbackRate = this.#media.defaultPlaybackRate = next;
    return next;
  }

  /** Play a span again and again; null lets go. */
  loopOver(span) {
    this.#loop = span;
  }

  // -- callbacks ------------------------------------------------------------------------------

  #changed() {
    this.toggleAttribute("data-playing", this.playing);
    if (!this.playing && !this.#media.seeking && !this.#pending) this.#until = null;
    this.#emit("desk:time");
    cancelAnimationFrame(this.#frame);
    if (this.playing) this.#frame = requestAnimationFrame(() => this.#tick());
  }

  #tick() {
    this.#turn();
    this.#emit("desk:time");
    if (this.playing) this.#frame = requestAnimationFrame(() => this.#tick());
  }

  #loaded() {
    if (this.#pending) this.#go();
    this.querySelector(".preparing")?.remove();
  }

  // -- internals ------------------------------------------------------------------------------

  #turn() {
    const loop = this.#loop;
    if (loop && this.playing && this.seconds >= loop[1]) this.#media.currentTime = loop[0];
    else if (this.#until !== null && this.playing && this.seconds >= this.#until - SHORT_S) this.pause();
  }

  #watchFrames(signal) {
    const media = this.#media;
    if (!media.requestVideoFrameCallback) return;
    const next = () => media.requestVideoFrameCallback(seen);
    const seen = (_, { mediaTime }) => {
      if (!media.seeking) this.#shown = mediaTime;
      if (!signal.aborted) next();
    };
    next();
  }

  /** One seek at a time, to the latest place: many at once (a held key) can leave it stuck. */
  #go() {
    this.#pending = this.#media.readyState < HTMLMediaElement.HAVE_CURRENT_DATA || this.#media.seeking;
    if (!this.#pending) this.#media.currentTime = this.#place;
  }

  #emit(name) {
    const detail = { seconds: this.seconds, playing: this.playing };
    this.dispatchEvent(new CustomEvent(name, { bubbles: true, detail }));
  }
}

customElements.define("clip-player", ClipPlayer);
