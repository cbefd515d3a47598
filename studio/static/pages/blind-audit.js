// <blind-audit>: one moment after the other is heard and judged. The next ones are fetched while one
// sounds, and begin at once after an answer; answers are sent in their order, until they are there.

import { place } from "../figures.js";
import { gettext } from "../translation.js";
import { AFTER_S, BEFORE_S, playSpan } from "./span-player.js";

const ANSWERS = { 1: "in_tune", 2: "out", 3: "cannot_tell" };
const AGAIN_MS = 3000; // chosen: after an answer that did not arrive

const lost = () =>
  gettext("There is no connection. Your answers are kept on this page and sent when it is back.");

class BlindAudit extends HTMLElement {
  #listening = null;
  #moments = []; // the one that sounds first; each { id, from, to, start, end, media }
  #answered = new Set(); // by this page; an earlier answer of the server does not know them yet
  #sending = Promise.resolve();
  #stop = null;
  #judged = 0;

  connectedCallback() {
    this.#listening = new AbortController();
    const { signal } = this.#listening;
    const begun = this.querySelector("#audit-state");
    const state = begun ? JSON.parse(begun.textContent) : { judged: 0, moments: [] };
    this.#judged = state.judged;
    this.addEventListener("submit", (event) => this.#submitted(event), { signal });
    this.addEventListener("click", ({ target }) => target.closest("[data-act='again']") && this.#hear(), { signal });
    document.addEventListener("keydown", (event) => this.#key(event), { signal });
    window.addEventListener("pagehide", () => this.#stop?.abort(), { signal });
    this.#take(state.moments);
    this.dataset.ready = "";
    if (this.#moments.length) this.#show();
  }

  disconnectedCallback() {
    this.#listening.abort();
    this.#stop?.abort();
  }

  // -- actions

  #hear() {
    const [moment] = this.#moments;
    if (!moment) return;
    this.#stop?.abort();
    this.#stop = new AbortController();
    const { signal } = this.#stop;
    playSpan(moment.media, [moment.from + BEFORE_S, moment.to - AFTER_S], signal);
    this.#follow(moment, signal);
  }

  #answer(said) {
    const moment = this.#moments.shift();
    if (!moment) return;
    this.#stop?.abort();
    this.#answered.add(moment.id);
    this.#judged += 1;
    this.#send(this.querySelector("#answer").action, { moment: moment.id, answer: said });
    this.#show();
  }

  /** What was sent before goes first, so that the last answer is the last one. */
  #takeBack() {
    if (!this.#judged) return;
    this.#stop?.abort();
    this.#moments = [];
    this.#send(this.querySelector("#back").action, {}, (state) => {
      this.#answered.clear();
      this.#moments = [];
      this.#judged = state.judged;
    });
  }

  // -- callbacks

  #submitted(event) {
    const { target, submitter } = event;
    if (target.id === "end") return void this.#endOnce(event);
    if (!this.querySelector("#answer")) return; // all are judged: the page is loaded anew
    event.preventDefault();
    if (target.id === "back") this.#takeBack();
    else this.#answer(submitter.value);
    // A press by hand leaves the button, so that the space bar plays and does not answer again.
    if (!submitter.matches(":focus-visible")) this.focus({ preventScroll: true });
  }

  /** Not before the last answer is there. */
  #endOnce(event) {
    if (event.target.dataset.sent) return;
    event.preventDefault();
    event.target.dataset.sent = "yes";
    this.#sending.then(() => event.target.submit());
  }

  #key(event) {
    if (event.altKey || event.ctrlKey || event.metaKey || event.repeat) return;
    const onControl = event.target.closest("button, a, summary, input, video, audio");
    if (event.key in ANSWERS && this.#moments.length) this.#answer(ANSWERS[event.key]);
    else if (event.key === " " && !onControl) this.#hear();
    else if (event.key === "Backspace") this.#back();
    else if (event.key === "Enter" && !onControl && !this.querySelector("#answer")) this.#end();
    else return;
    event.preventDefault();
  }

  #back() {
    if (this.querySelector("#answer")) this.#takeBack();
    else this.querySelector("#back").requestSubmit();
  }

  #end() {
    this.querySelector("#end").requestSubmit();
  }

  // -- sending

  #send(address, said, before = () => {}) {
    this.#sending = this.#sending.then(async () => {
      const state = await this.#until(address, said);
      if (!state) return;
      before(state);
      const waited = !this.#moments.length;
      this.#take(state.moments);
      this.#part("of").textContent = state.of;
      if (waited && this.#moments.length) this.#show();
      else if (!state.moments.length) location.reload(); // all are judged
    });
  }

  /** The answer's state, however long it takes; null where the page has to be loaded anew. */
  async #until(address, said) {
    for (;;) {
      const answer = await this.#post(address, said);
      if (answer?.ok && !answer.redirected) {
        this.#say("");
        return answer.json();
      }
      if (answer && answer.status < 500) {
        location.reload(); // logged out, or the round has ended elsewhere
        return null;
      }
      this.#say(lost());
      await new Promise((done) => { setTimeout(done, AGAIN_MS); });
    }
  }

  #post(address, said) {
    const token = this.querySelector("[name='csrfmiddlewaretoken']").value;
    const body = new URLSearchParams({ ...said, csrfmiddlewaretoken: token });
    const headers = { Accept: "application/json" };
    return fetch(address, { method: "POST", body, headers, keepalive: true }).catch(() => null);
  }

  // -- internals

  /** What the server says comes next, but for what is here already or was answered meanwhile. */
  #take(moments) {
    const here = new Set(this.#moments.map(({ id }) => id));
    for (const moment of moments) {
      if (here.has(moment.id) || this.#answered.has(moment.id)) continue;
      this.#moments.push({ ...moment, media: fetched(moment) });
    }
  }

  #show() {
    this.#part("judged").textContent = this.#judged;
    this.querySelector("progress").value = this.#judged;
    this.querySelector("#back button").disabled = !this.#judged;
    const [moment] = this.#moments;
    for (const button of this.querySelectorAll("#answer button")) button.disabled = !moment;
    if (!moment) return this.#say(gettext("One moment."));
    this.#part("stage").replaceChildren(moment.media);
    this.#part("start").textContent = place(moment.start, 2);
    this.#part("end").textContent = place(moment.end, 2);
    this.querySelector("#answer").elements.moment.value = moment.id;
    const share = (t) => `${(100 * (t - moment.from)) / (moment.to - moment.from)}%`;
    Object.assign(this.#part("span").style, { left: share(moment.start), right: "auto" });
    this.#part("span").style.width = `calc(${share(moment.end)} - ${share(moment.start)})`;
    this.#part("now").style.left = "0";
    this.#say("");
    return this.#hear();
  }

  /** The line goes along with what sounds. */
  #follow(moment, signal) {
    const now = this.#part("now");
    const step = () => {
      if (signal.aborted) return;
      const at = (moment.media.currentTime - moment.from) / (moment.to - moment.from);
      now.style.left = `${100 * Math.min(Math.max(at, 0), 1)}%`;
      requestAnimationFrame(step);
    };
    step();
  }

  #say(words) {
    const said = this.#part("said");
    if (said.textContent !== words) said.textContent = words;
  }

  #part(name) {
    return this.querySelector(`[data-part="${name}"]`);
  }
}

/** A player that begins to fetch its place at once. */
function fetched({ src, video, from, to }) {
  const media = document.createElement(video ? "video" : "audio");
  media.controls = true;
  media.preload = "auto";
  media.playsInline = true;
  media.setAttribute("aria-label", gettext("What is to be judged"));
  media.src = `${src}#t=${from},${to}`;
  return media;
}

customElements.define("blind-audit", BlindAudit);
