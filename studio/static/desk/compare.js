// <clip-compare>: an earlier clip and the present one at the same double stop. A row puts both
// recordings at that note; one key, or a press, lets the other of the two sound from its start. The
// row that is chosen is kept clear of the players, which stay in sight.

import { gettext } from "../translation.js";
import "./key-help.js";
import "./player.js";
import { asked, handOnEarly, inForce, keysOf, onPage, shown } from "./keys.js";

const NOT_PLAYED = {
  then: gettext("This double stop was not played then."),
  now: gettext("This double stop was not played now."),
};
const NAMES = { then: gettext("then"), now: gettext("now") };

const PAGE = "compare";
const TAKES = ["then", "now"];
const CALM = matchMedia("(prefers-reduced-motion: reduce)");

export class ClipCompare extends HTMLElement {
  #aborter = null;
  #rows = [];
  #row = null;
  #take = "now"; // whose turn it is to sound
  #players = {};
  #until = null; // where the note that is heard ends, in seconds
  #keys = [];
  #help = null;
  #acts = {
    play: () => this.#toggle(),
    "next-row": () => this.#walk(1),
    "previous-row": () => this.#walk(-1),
    switch: () => this.#hear(other(this.#take)),
    then: () => this.#hear("then"),
    now: () => this.#hear("now"),
    back: () => document.querySelector("[data-back]").click(),
    help: () => this.#help.toggle(),
  };

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    this.#help = this.querySelector("key-help");
    for (const take of TAKES) {
      this.#players[take] = this.querySelector(`[data-take="${take}"] clip-player`);
    }
    this.#rows = [...this.querySelectorAll("[data-line]")];
    this.#rows.forEach(makePressable);
    this.addEventListener("click", (event) => this.#pressed(event), { signal });
    this.addEventListener("desk:time", (event) => this.#placed(event), { signal });
    this.addEventListener("desk:keys", ({ detail }) => this.#useKeys(detail.changed), { signal });
    document.addEventListener("keydown", (event) => this.#key(event), { signal });
    this.#useKeys(this.#help.changed);
    this.dataset.ready = "";
    const held = () => this.#row?.contains(document.activeElement) && inSight(this.#row);
    const sizes = new ResizeObserver(() => requestAnimationFrame(held)); // once the page knows what is covered
    sizes.observe(this.querySelector(".stage"));
    signal.addEventListener("abort", () => sizes.disconnect());
    this.#begin(this.querySelector("[data-chosen]"));
    handOnEarly((event) => this.#key(event));
  }

  disconnectedCallback() {
    this.#aborter.abort();
  }

  // -- callbacks ------------------------------------------------------------------------------

  #key(event) {
    const act = asked(event, this.#keys);
    if (!act || (this.#help.open && act !== "help")) return;
    event.preventDefault();
    if (event.repeat && !act.endsWith("-row")) return;
    this.#acts[act]();
    if (this.#row && !["help", "back"].includes(act)) inSight(this.#row);
  }

  /** A press on a row puts both at its note; pressed again, it sounds. */
  #pressed(event) {
    const act = event.target.closest("[data-act]")?.dataset.act;
    if (act) return this.#acts[act]();
    const row = event.target.closest("[data-line]");
    if (!row || event.target.closest("a")) return undefined;
    if (row === this.#row && event.target.closest("[data-pick]")) return this.#toggle();
    return this.#select(row);
  }

  /** Whatever begins to sound silences the other; a note ends where it ends. */
  #placed({ target, detail: { seconds, playing } }) {
    const take = TAKES.find((name) => this.#players[name] === target);
    if (!take) return;
    if (playing && this.#players[other(take)]?.playing) this.#players[other(take)].pause();
    if (playing) this.#show(take);
    if (take !== this.#take || this.#until === null) return;
    if (playing && seconds >= this.#until) target.pause();
    if (!playing && seconds >= this.#until) this.#until = null;
  }

  // -- internals ------------------------------------------------------------------------------

  #begin(chosen) {
    const row = chosen ?? this.#rows[0];
    if (!row) return;
    this.#select(row);
    if (!chosen || !("meant" in this.dataset)) return;
    pickOf(chosen).focus({ preventScroll: true });
    chosen.scrollIntoView({ block: "center" });
    const landed = document.querySelector(".landed")?.textContent;
    if (landed) this.#say(landed);
  }

  #walk(by) {
    const row = this.#rows[this.#rows.indexOf(this.#row) + by];
    if (!row) return;
    this.#select(row);
    pickOf(row).focus({ preventScroll: true });
    inSight(row);
  }

  /** Both recordings go to the row's note and are still. */
  #select(row) {
    if (this.#row) mark(this.#row, false);
    this.#row = row;
    mark(row, true);
    this.#until = null;
    for (const take of TAKES) this.#put(take);
    const missing = TAKES.find((take) => !spanOf(row, take));
    if (missing) this.#show(other(missing));
    this.#say(pickOf(row).textContent);
  }

  #put(take) {
    const span = spanOf(this.#row, take);
    this.#players[take]?.pause();
    if (span) this.#players[take]?.seek(span[0]);
  }

  /** The row's note in one of the two, from its start to its end. */
  async #hear(take) {
    const span = this.#row && spanOf(this.#row, take);
    if (!span) return this.#say(NOT_PLAYED[take]);
    if (!this.#players[take]) return this.#say(gettext("This recording cannot be played yet."));
    this.#put(other(take));
    this.#show(take);
    this.#until = span[1];
    const plays = await this.#players[take].playFrom(span[0]);
    if (!plays) return this.#say(gettext("The recording could not be played. Press again."));
    return this.#say([pickOf(this.#row).textContent, NAMES[take]].join(", "));
  }

  /** Stops what sounds; else the note sounds where the turn is. */
  #toggle() {
    const player = this.#players[this.#take];
    if (player?.playing) return player.pause();
    return this.#hear(this.#take);
  }

  #show(take) {
    this.#take = take;
    for (const name of TAKES) {
      this.querySelector(`[data-act="${name}"]`).setAttribute("aria-pressed", name === take);
      this.querySelector(`[data-take="${name}"]`).classList.toggle("turn", name === take);
    }
  }

  #useKeys(changed) {
    this.#keys = onPage(inForce(changed), PAGE);
    for (const { act, keys } of this.#keys) {
      const button = this.querySelector(`[data-act="${act}"]`);
      if (button) button.title = gettext("Key: %(keys)s", { keys: keysOf({ keys }) });
    }
    const [back] = this.#keys.find(({ act }) => act === "back").keys;
    document.querySelector("[data-back]").textContent = gettext("Back to the clip (%(key)s)", { key: shown(back) });
    const { keys } = this.#keys.find(({ act }) => act === "switch");
    this.querySelector("[data-act='switch']").textContent = gettext("Switch (%(key)s)", { key: shown(keys[0]) });
  }

  #say(words) {
    this.querySelector(".at").textContent = words;
  }
}

const other = (take) => (take === "then" ? "now" : "then");
const inSight = (row) => row.scrollIntoView({ block: "nearest", behavior: CALM.matches ? "auto" : "smooth" });
const pickOf = (row) => row.querySelector("[data-pick]");

/** The name of a row becomes a button; the Tab key stops at the chosen row alone. */
function makePressable(row) {
  const button = document.createElement("button");
  const name = pickOf(row);
  button.type = "button";
  button.dataset.pick = "";
  button.textContent = name.textContent;
  name.replaceWith(button);
  mark(row, false);
}

function mark(row, chosen) {
  row.classList.toggle("chosen", chosen);
  pickOf(row).setAttribute("aria-pressed", chosen);
  for (const stop of row.querySelectorAll("a, button")) stop.tabIndex = chosen ? 0 : -1;
}

/** [start, end] in seconds, null where it was not played. */
function spanOf(row, take) {
  return row.dataset[take]?.split(" ").map(Number) ?? null;
}

customElements.define("clip-compare", ClipCompare);
