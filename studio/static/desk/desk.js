// <clip-desk>: joins ledger, picture, recording and forms. Each part says what happened to it by
// an event that bubbles up to here; here it is passed on to the others, so that all stay in step.

import { gettext } from "../translation.js";
import "./clip-ledger.js";
import "./key-help.js";
import "./player.js";
import "./sound-picture.js";
import { ACTS, go, PLAYING } from "./acts.js";
import { Composer } from "./composer.js";
import { Drafts } from "./drafts.js";
import { Enclosing } from "./enclosing.js";
import { Exchange } from "./exchange.js";
import { fetchJson } from "./fetch-json.js";
import { Following } from "./following.js";
import { asked, handOnEarly, inForce, keysOf, onPage, shown } from "./keys.js";
import { open } from "./mark-order.js";
import { Panels } from "./panels.js";
import { watch } from "./progress.js";
import { DeskScore } from "./score.js";
import { spanSaid } from "./spans.js";
import { select, sound } from "./state.js";

export class ClipDesk extends HTMLElement {
  #aborter = null;
  #parts = null;
  #following;
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
      score: new DeskScore(this, signal),
      say: (words) => exchange.say(words),
      keyOf: (act) => shown(this.#keys.find((row) => row.act === act).keys[0] ?? ""),
      fetch: (address) => fetchJson(address, signal),
    };
    this.#parts.panels = new Panels(this, () => this.#backToDesk(), signal);
    this.#parts.enclosing = new Enclosing(this, this.#parts.say, signal);
    this.#following = new Following(this.#parts);
    this.#listen(signal);
    this.#useKeys(this.#parts.help.changed);
    watch(this, { done: (kind) => this.#done(kind), failed: () => location.reload() }, signal);
    this.dataset.ready = "";
    performance.mark("desk:ready");
    this.#fetch(signal);
    this.#following.place({ seconds: 0, playing: false });
    open(this.#parts, signal);
    handOnEarly((event) => this.#key(event));
  }

  disconnectedCallback() {
    this.#aborter.abort();
  }

  // -- actions --------------------------------------------------------------------------------

  act(name, button = null) {
    if (this.dataset.gone && PLAYING.has(name)) return this.#parts.say(this.dataset.gone);
    return ACTS[name]?.(this.#parts, button);
  }

  // -- callbacks ------------------------------------------------------------------------------

  #listen(signal) {
    const { picture, ledger, composer, score, say, exchange } = this.#parts;
    const { standing } = exchange;
    const on = (name, callback) => this.addEventListener(name, callback, { signal });
    document.addEventListener("keydown", (event) => this.#key(event), { signal });
    on("click", (event) => this.#clicked(event));
    on("desk:time", ({ detail }) => this.#following.place(detail));
    on("desk:row", ({ detail }) => this.#following.row(detail));
    on("desk:press", ({ detail }) => this.#following.seek(detail.seconds));
    on("desk:span", ({ detail }) => {
      this.querySelector(".span-said").textContent = spanSaid(picture);
      if (detail.done) composer.select(detail.span);
    });
    on("desk:select", () => this.#selected());
    on("desk:sound", ({ detail }) => standing.become(sound(standing.state, detail.mark)));
    on("desk:queued", ({ detail }) => this.#queued(detail));
    on("desk:point", ({ target, detail }) => {
      if (target === picture) ledger.highlight(detail.event);
      else picture.highlight(detail.event);
      score.point(ledger.refOf(detail.event));
    });
    on("note-chosen", ({ detail }) => this.#following.chosen(detail.ref));
    on("input", ({ target }) => target.form?.dataset.try && this.#try(target.form));
    on("desk:walk", ({ detail }) => this.#following.walked(detail));
    on("desk:keys", ({ detail }) => this.#useKeys(detail.changed));
    on("desk:goes-on", ({ detail }) => this.toggleAttribute("data-goes-on", detail.goesOn));
    on("submit", (event) => this.#leaving(event));
    on("desk:changed", ({ detail }) => this.#changed(detail));
    on("desk:unplayable", () => say(gettext("The recording could not be played. Load the page again.")));
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
        button.title = gettext("Key: %(keys)s", { keys: keysOf({ keys }) });
      }
    }
  }

  /** A form's words are on their way: it is empty, or closed, and the keys are the desk's again. */
  #queued({ form }) {
    const { player, picture, composer, panels } = this.#parts;
    const typing = form.contains(document.activeElement);
    const details = form.closest("details.edit, details.add-mark, details.write");
    if (form.id === "composer") {
      composer.clear(player.seconds);
      picture.select(null);
    } else if (form.matches("#add-mark-form, .new-drill, .enclose form")) form.reset();
    if (details) panels.close(details);
    if (!typing) return;
    const block = form.closest(".block");
    if (form.dataset.exchange === "delete" && block) block.querySelector("[data-row]")?.focus({ preventScroll: true });
    else if (document.activeElement.matches("textarea, input, select, #composer button")) this.#backToDesk();
  }

  #changed({ act, ok }) {
    const { ledger, picture, composer } = this.#parts;
    ledger.read();
    const { selected } = this.#parts.exchange.state;
    if (selected && !ledger.mark) ledger.select(this.querySelector(`[data-about="${CSS.escape(selected)}"]`));
    picture.annotate(ledger.moments);
    if (act.kind === "propose") import("./summary.js").then(({ proposed }) => proposed(this.#parts, go));
    if (ok && act.kind === "tolerance") this.#fetch(this.#aborter.signal);
    if (act.kind === "comment" && !ok) composer.renewed();
    if (act.kind === "comment") this.querySelector("#ledger-fold")?.setAttribute("open", "");
  }

  /** On the way to the preview nothing may stay behind: half said, or not sent. */
  #leaving(event) {
    const { composer, say, exchange } = this.#parts;
    if (event.target.id !== "summary") return;
    if (composer.written) {
      event.preventDefault();
      say(gettext("There is a comment that is not added yet. Add it, or clear it, then go on."));
      composer.focus();
    } else if (exchange.unsent) {
      event.preventDefault();
      exchange.whenSent(() => event.target.requestSubmit(event.submitter));
    }
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
    return say(gettext("The recording can be played now."));
  }

  #clicked(event) {
    const decision = event.target.closest("[data-decide]");
    if (decision) {
      this.#parts.ledger.select(decision);
      return this.act(decision.dataset.decide, decision);
    }
    const button = event.target.closest("[data-act]");
    // Links lead on, and rows load the page at their moment, where there is no script.
    if (button?.tagName === "A" || event.target.closest("[data-row]")) event.preventDefault();
    return button && this.act(button.dataset.act, button);
  }

  #selected() {
    const { ledger, exchange, score, player } = this.#parts;
    const { standing } = exchange;
    if (!player.playing) score.point(ledger.row?.closest("[data-ref]")?.dataset.ref ?? null);
    standing.become(select(standing.state, ledger.mark?.dataset.about ?? null));
  }

  // -- internals ------------------------------------------------------------------------------

  #backToDesk() {
    const { mark, row } = this.#parts.ledger;
    (mark ?? row ?? this).focus({ preventScroll: true });
  }

  async #fetch(signal) {
    const { picture, ledger } = this.#parts;
    picture.annotate(ledger.moments);
    const address = this.dataset.picture;
    const partOf = (number) => address.replace(".json", `/parts/${number}.json`);
    picture.fetchPart = (number) => fetchJson(partOf(number), signal);
    const heard = await fetchJson(address, signal);
    if (heard) picture.hear(heard);
  }
}

customElements.define("clip-desk", ClipDesk);
