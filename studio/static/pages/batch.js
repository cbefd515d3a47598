// <batch-row>: clips looked through in a row. One is open at a time and plays from its start when it
// is come to; the others show what is written for them. Without a script all of them are open.

import { gettext, ngettext } from "../translation.js";
import "../desk/key-help.js";
import { asked, handOnEarly, inForce, keysOf, onPage } from "../desk/keys.js";
import { Kept } from "./batch-kept.js";

const PAGE = "batch";

class BatchRow extends HTMLElement {
  #aborter = null;
  #clips = [];
  #clip = null;
  #keys = [];
  #help = null;
  #kept = null;
  #acts = {
    play: () => toggle(playerOf(this.#clip)),
    "next-row": () => this.#walk(1),
    "previous-row": () => this.#walk(-1),
    "next-take": () => this.#walk(1),
    "previous-take": () => this.#walk(-1),
    write: () => wordsOf(this.#clip).focus(),
    offered: ({ key }) => this.#offer(this.#clip.querySelectorAll("[data-offer]")[key - 1]),
    example: () => this.#switchExample(),
    "at-desk": () => this.#clip.querySelector("[data-go='at-desk']").click(),
    "return-batch": () => this.querySelector("[type='submit']").focus(),
    help: () => this.#help.toggle(),
  };

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    this.#help = this.querySelector("key-help");
    this.#clips = [...this.querySelectorAll("[data-clip]")];
    this.#kept = new Kept(this.dataset.person, this.#clips.map(wordsOf));
    this.addEventListener("click", (event) => this.#pressed(event), { signal });
    this.addEventListener("input", () => this.#written(), { signal });
    this.addEventListener("change", ({ target }) => target.closest(".example") && hearable(target), { signal });
    this.addEventListener("desk:keys", ({ detail }) => this.#useKeys(detail.changed), { signal });
    document.addEventListener("keydown", (event) => this.#key(event), { signal });
    this.querySelectorAll(".example select").forEach(hearable);
    this.#useKeys(this.#help.changed);
    this.#open(this.querySelector("[data-clip]:has(.error)") ?? this.#clips[0]);
    this.#written();
    this.dataset.ready = "";
    handOnEarly((event) => this.#key(event));
  }

  disconnectedCallback() {
    this.#aborter.abort();
  }

  // -- callbacks ------------------------------------------------------------------------------

  #key(event) {
    if (event.target.matches("textarea") && this.contains(event.target)) return this.#inWords(event);
    const act = asked(event, this.#keys);
    if (!this.#acts[act] || (this.#help.open && act !== "help")) return;
    event.preventDefault();
    if (!event.repeat) this.#acts[act](event);
  }

  #inWords(event) {
    const leaves = event.key === "Escape";
    if (!leaves && !(event.key === "Enter" && event.ctrlKey)) return;
    event.preventDefault();
    if (leaves) this.#clip.focus();
    else this.#walk(1);
  }

  #pressed({ target }) {
    const clip = target.closest("[data-clip]");
    if (target.closest("[data-act='help']")) return this.#help.toggle();
    if (target.closest("[data-offer]")) return this.#offer(target.closest("[data-offer]"));
    if (clip && clip !== this.#clip) this.#goTo(clip);
  }

  /** What is written shows in the closed ones, is counted, and is kept on this device. */
  #written() {
    let has = 0;
    for (const clip of this.#clips) {
      const words = wordsOf(clip).value.trim();
      const line = clip.querySelector("[data-part='written']");
      line.textContent = words;
      line.hidden = !words;
      if (words) has += 1;
    }
    const stay = this.#clips.length - has;
    this.querySelector("[data-part='how-many']").textContent = clips(has);
    this.querySelector("[data-part='stay']").textContent = stay
      ? ngettext("%(count)s clip without words stays.", "%(count)s clips without words stay.", stay)
      : "";
    this.#kept.keep();
  }

  // -- internals ------------------------------------------------------------------------------

  #walk(by) {
    const next = this.#clips[this.#clips.indexOf(this.#clip) + by];
    if (next) this.#goTo(next);
    else if (by > 0) this.querySelector("[type='submit']").focus();
  }

  #goTo(clip) {
    this.#open(clip);
    clip.focus({ preventScroll: true });
    clip.scrollIntoView({ block: "nearest" });
    const player = playerOf(clip);
    player.currentTime = 0;
    player.play().catch(() => {}); // the browser wants a press first
  }

  #open(clip) {
    if (this.#clip) {
      playerOf(this.#clip).pause();
      this.#clip.removeAttribute("aria-current");
    }
    this.#clip = clip;
    clip.setAttribute("aria-current", "true");
  }

  /** After what is written; the same words a second time take nothing away and add nothing. */
  #offer(button) {
    if (!button) return;
    const words = wordsOf(this.#clip);
    if (words.value.includes(button.dataset.offer)) return;
    const before = words.value.trimEnd();
    words.value = before ? `${before} ${button.dataset.offer}` : button.dataset.offer;
    this.#written();
  }

  #switchExample() {
    const select = this.#clip.querySelector(".example select");
    if (!select) return;
    select.selectedIndex = select.selectedIndex ? 0 : 1;
    hearable(select);
  }

  #useKeys(changed) {
    this.#keys = onPage(inForce(changed), PAGE);
    const { keys } = this.#keys.find(({ act }) => act === "example");
    for (const label of this.querySelectorAll(".example label")) label.title = gettext("Key: %(keys)s", { keys: keysOf({ keys }) });
  }
}

const wordsOf = (clip) => clip.querySelector("textarea");
const playerOf = (clip) => clip.querySelector(".batch-picture :is(video, audio)");
const clips = (n) => ngettext("%(count)s clip", "%(count)s clips", n);

function toggle(player) {
  if (player.paused) player.play().catch(() => {});
  else player.pause();
}

/** A chosen example can be heard before it is sent. */
function hearable(select) {
  const place = select.parentElement.querySelector("[data-part='example']");
  const { address, kind } = select.selectedOptions[0].dataset;
  place.replaceChildren();
  if (!address) return;
  const player = document.createElement(kind === "video" ? "video" : "audio");
  player.controls = true;
  player.preload = "metadata";
  player.src = address;
  player.setAttribute("aria-label", gettext("The recorded example"));
  place.append(player);
}

customElements.define("batch-row", BatchRow);
