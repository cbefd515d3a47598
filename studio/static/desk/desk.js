// <clip-desk>: joins ledger, picture, recording and forms. Each part says what happened to it by
// an event that bubbles up to here; here it is passed on to the others, so that all stay in step.

import "./clip-ledger.js";
import "./key-help.js";
import "./player.js";
import "./sound-picture.js";
import { ACTS, LEAD_IN_S } from "./acts.js";
import { Composer } from "./composer.js";
import { Drafts } from "./drafts.js";
import { Enclosing } from "./enclosing.js";
import { Exchange } from "./exchange.js";
import { fetchJson } from "./fetch-json.js";
import { asked, inForce, onPage, shown } from "./keys.js";
import { watch } from "./progress.js";
import { DeskScore } from "./score.js";
import { place } from "../figures.js";

export class ClipDesk extends HTMLElement {
  #aborter = null;
  #parts = null;
  #pressed = null;
  #told = {};
  #keys = []; // the table in force

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    const drafts = new Drafts(this, this.dataset, signal);
    const exchange = new Exchange(this, drafts, signal);
    this.#parts = {
      root: this,
      player: this.querySelector("clip-player"),
      picture: this.querySelector("sound-picture"),
      ledger: this.querySelector("clip-ledger"),
      help: this.querySelector("key-help"),
      composer: new Composer(this, drafts, signal),
      exchange,
      score: new DeskScore(this),
      say: (words) => exchange.say(words),
      keyOf: (act) => shown(this.#keys.find((row) => row.act === act).keys[0]),
      fetch: (address) => fetchJson(address, signal),
    };
    this.#parts.enclosing = new Enclosing(this, this.#parts.say, signal);
    this.#listen(signal);
    this.#useKeys(this.#parts.help.changed);
    watch(this, { done: (kind) => this.#done(kind), failed: () => location.reload() }, signal);
    this.dataset.ready = "";
    performance.mark("desk:ready");
    this.#fetch(signal);
    this.#place({ seconds: 0, playing: false });
  }

  disconnectedCallback() {
    this.#aborter.abort();
  }

  // -- actions --------------------------------------------------------------------------------

  act(name, button = null) {
    return ACTS[name]?.(this.#parts, button);
  }

  // -- callbacks ------------------------------------------------------------------------------

  #listen(signal) {
    const { picture, ledger, composer, score, say } = this.#parts;
    const on = (name, callback) => this.addEventListener(name, callback, { signal });
    document.addEventListener("keydown", (event) => this.#key(event), { signal });
    on("click", (event) => {
      const button = event.target.closest("[data-act]");
      if (button?.tagName === "A") event.preventDefault(); // it leads on without a script
      if (button) this.act(button.dataset.act, button);
    });
    on("desk:time", ({ detail }) => this.#place(detail));
    on("desk:row", ({ detail }) => this.#row(detail));
    on("desk:press", ({ detail }) => this.#seek(detail.seconds));
    on("desk:span", ({ detail }) => detail.done && composer.select(detail.span));
    on("desk:point", ({ target, detail }) => {
      if (target === picture) ledger.highlight(detail.event);
      else picture.highlight(detail.event);
      score.point(ledger.refOf(detail.event));
    });
    on("note-chosen", ({ detail }) => this.#chosen(detail.ref));
    on("input", ({ target }) => target.form?.dataset.try && this.#try(target.form));
    on("desk:walk", ({ detail }) => this.#walked(detail));
    on("desk:keys", ({ detail }) => this.#useKeys(detail.changed));
    on("submit", (event) => this.#leaving(event));
    on("desk:changed", ({ detail }) => this.#changed(detail));
    on("desk:unplayable", () => say("The recording could not be played. Load the page again."));
  }

  #key(event) {
    const act = asked(event, this.#keys);
    if (!act || (this.#parts.help.open && act !== "help")) return;
    event.preventDefault();
    if (!event.repeat || /^(back|forward|next-row|previous-row|zoom)/.test(act)) this.act(act);
  }

  /** The keys in force, and every button that says its own. */
  #useKeys(changed) {
    this.#keys = onPage(inForce(changed));
    for (const { act, keys } of this.#keys) {
      for (const button of this.querySelectorAll(`[data-act="${act}"], [data-go="${act}"]`)) {
        button.title = `Key: ${keys.map(shown).join(" or ")}`;
      }
    }
  }

  #place({ seconds, playing }) {
    const { picture, ledger, composer, score } = this.#parts;
    if (!playing && this.#pressed) this.#pressed = ledger.sounding(null) ?? null;
    const follows = playing && !this.hasAttribute("data-stays-put");
    picture.place(seconds, follows);
    ledger.place(seconds, follows);
    if (playing) score.point(ledger.refOf(null));
    composer.place(seconds);
    this.#tell(place(seconds, 1), playing);
  }

  /** This runs at every frame: what is the same is left alone, so that nothing is laid out anew. */
  #tell(now, playing) {
    if (this.#told.now !== now) this.querySelector(".now").textContent = now;
    if (this.#told.playing !== playing) {
      this.querySelector(".transport .play").setAttribute("aria-label", playing ? "Pause" : "Play");
      this.toggleAttribute("data-playing", playing);
    }
    this.#told = { now, playing };
  }

  /** A press plays a row from just before it; a second press stops. */
  async #row({ row, start_s: start, end_s: end }) {
    const { player, picture, ledger } = this.#parts;
    if (this.#pressed === row && player.playing) return player.pause();
    picture.reveal(start, end);
    const plays = await player.playFrom(Math.max(start - LEAD_IN_S, 0));
    this.#pressed = plays ? row : null;
    return ledger.sounding(this.#pressed);
  }

  /** A note of the drill's page: its row, and where it sounded first. */
  #chosen(ref) {
    const { ledger, picture, say, score } = this.#parts;
    score.choose(ref);
    const found = ledger.showWritten(ref);
    ledger.highlight(found?.event ?? null);
    picture.highlight(found?.event ?? null);
    if (found) this.#walked(found);
    else say("This note was not played.");
  }

  /** Still, the recording and the picture go where the arrows went. */
  #walked({ start_s: start, end_s: end }) {
    const { player, picture } = this.#parts;
    if (player.playing) return;
    player.seek(start);
    picture.reveal(start, end);
  }

  #seek(seconds) {
    const { player, picture } = this.#parts;
    if (picture.span) picture.select(null);
    player.seek(seconds);
  }

  #changed({ form, ok }) {
    const { player, ledger, picture, composer } = this.#parts;
    ledger.read();
    picture.annotate(ledger.moments);
    if (form.id === "propose" && !this.querySelector("#summary textarea")?.value.trim()) {
      this.act("use-proposal");
    }
    if (ok && form.id === "tolerance-form") this.#fetch(this.#aborter.signal);
    if (form.id !== "composer") return;
    if (ok && picture.span) picture.select(null);
    composer.renewed(player.seconds);
  }

  /** On the way to the preview nothing that is half said may stay behind. */
  #leaving(event) {
    const { composer, say } = this.#parts;
    if (event.target.id !== "summary" || !composer.written) return;
    event.preventDefault();
    say("There is a comment that is not added yet. Add it, or clear it, then go on.");
    composer.focus();
  }

  /** How many marks there would be, while a tolerance is being chosen. */
  async #try(form) {
    const { tryOut } = await import("./tolerance.js");
    tryOut(form);
  }

  #done(kind) {
    const { player, say } = this.#parts;
    if (kind === "listening") return location.reload();
    player.load(this.dataset.media);
    return say("The recording can be played now.");
  }

  // -- internals ------------------------------------------------------------------------------

  async #fetch(signal) {
    const { picture, ledger } = this.#parts;
    picture.annotate(ledger.moments);
    const address = this.dataset.picture;
    const parts = address.replace(/\.json$/, "/parts/");
    picture.fetchPart = (number) => fetchJson(`${parts}${number}.json`, signal);
    const heard = await fetchJson(address, signal);
    if (heard) picture.hear(heard);
  }
}

customElements.define("clip-desk", ClipDesk);
