// Keeps ledger, picture, page and recording in step: with what plays, and with where somebody went.

import { gettext } from "../translation.js";
import { LEAD_IN_S } from "./mark-acts.js";
import { place } from "../figures.js";

export class Following {
  #parts;
  #pressed = null; // the row that plays because it was pressed
  #told = {};

  constructor(parts) {
    this.#parts = parts;
  }

  place({ seconds, playing }) {
    const { picture, ledger, composer, score } = this.#parts;
    if (!playing && this.#pressed) this.#pressed = ledger.sounding(null) ?? null;
    const follows = playing && !this.#parts.root.hasAttribute("data-stays-put");
    picture.place(seconds, follows);
    ledger.place(seconds, follows);
    if (playing) score.point(ledger.refOf(null));
    composer.place(seconds);
    this.#tell(place(seconds, 1), playing);
  }

  /** This runs at every frame: what is the same is left alone, so that nothing is laid out anew. */
  #tell(now, playing) {
    if (this.#told.now !== now) this.#parts.root.querySelector(".now").textContent = now;
    if (this.#told.playing !== playing) {
      this.#parts.root.querySelector(".transport .play")?.setAttribute("aria-label", playing ? gettext("Pause") : gettext("Play"));
      this.#parts.root.toggleAttribute("data-playing", playing);
    }
    this.#told = { now, playing };
  }

  /** A press plays a row from just before it; a second press stops. */
  async row({ row, start_s: start, end_s: end }) {
    const { player, picture, ledger } = this.#parts;
    if (this.#pressed === row && player.playing) return player.pause();
    picture.reveal(start, end);
    const plays = await player.playFrom(Math.max(start - LEAD_IN_S, 0));
    this.#pressed = plays ? row : null;
    return ledger.sounding(this.#pressed);
  }

  /** A note of the drill's page: its row, and where it sounded first. */
  chosen(ref) {
    const { ledger, picture, root, say, score } = this.#parts;
    const bar = root.querySelector(`#pins[open] [data-notes~="${CSS.escape(ref)}"]`);
    if (bar) return this.#barIs(bar.value);
    score.choose(ref);
    const found = ledger.showWritten(ref);
    ledger.highlight(found?.event ?? null);
    picture.highlight(found?.event ?? null);
    if (found) this.walked(found);
    else say(gettext("This note was not played."));
  }

  /** The bar of the pressed note, in the open panel; then its button, for one more press. */
  #barIs(bar) {
    const form = this.#parts.root.querySelector("#pin-form");
    form.elements["pin-bar"].value = bar;
    form.querySelector("[type=submit]").focus({ preventScroll: true });
  }

  /** Still, the recording and the picture go where the arrows went. */
  walked({ start_s: start, end_s: end }) {
    const { player, picture } = this.#parts;
    if (player.playing) return;
    player.seek(start);
    picture.reveal(start, end);
  }

  seek(seconds) {
    const { player, picture, ledger } = this.#parts;
    if (picture.span) picture.select(null);
    const row = ledger.rowAt(seconds);
    if (row) ledger.select(row);
    player.seek(seconds);
  }
}
