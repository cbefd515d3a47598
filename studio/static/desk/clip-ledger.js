// <clip-ledger>: the rows of the page. It knows which row sounds now, which was pressed, and how
// to walk from row to row and from mark to mark. Emits "desk:row" { row, start, end } when a row
// is pressed, "desk:point" { event } when one is pointed at, and "desk:walk" { start_s, end_s } when
// the arrows have gone to one.

import { firstAfter } from "./geometry.js";

const CALM = matchMedia("(prefers-reduced-motion: reduce)");
const HANDS_OFF_MS = 4000; // after the reader scrolls, the page leaves the place to them
const SOUNDING_S = 0.15; // a row stays lit this long after its end
const SETTLE_FRAMES = 3;
const [BEFORE_S, AFTER_S] = [1, 5]; // round a mark that was gone to: a decision is about it

export class ClipLedger extends HTMLElement {
  #aborter = null;
  #rows = [];
  #longest = 0;
  #current = null;
  #stop = null; // the row that the Tab key stops at
  #scrolledAt = -Infinity;
  #walkedTo = null; // the number of the mark that was gone to last

  connectedCallback() {
    this.#aborter = new AbortController();
    const { signal } = this.#aborter;
    this.addEventListener("click", (event) => this.#pressed(event), { signal });
    this.addEventListener("pointerover", (event) => this.#pointed(event), { signal });
    this.addEventListener("pointerleave", () => this.#emit("desk:point", { event: null }), { signal });
    this.addEventListener("focusin", (event) => this.#focused(event), { signal });
    for (const name of ["wheel", "touchmove"]) {
      addEventListener(name, () => (this.#scrolledAt = performance.now()), { signal, passive: true });
    }
    this.read();
  }

  disconnectedCallback() {
    this.#aborter.abort();
  }

  // -- actions --------------------------------------------------------------------------------

  /** Read the rows anew, after a part of the page was replaced. */
  read() {
    const found = [...this.querySelectorAll("[data-row][data-event]")];
    this.#rows = found.map((row) => ({ row, ...spanOf(row) })).sort((a, b) => a.start_s - b.start_s);
    this.#longest = this.#rows.reduce((most, { start_s: a, end_s: b }) => Math.max(most, b - a), 0);
    this.#oneTabStop(this.#stop?.isConnected ? this.#stop : found[0]);
    this.#current = this.#current?.isConnected ? this.#current : null;
  }

  /** Marks and comments as the picture draws them. */
  get moments() {
    return [...this.querySelectorAll("[data-moment]")].map((element) => ({
      kind: element.dataset.moment,
      start: Number(element.dataset.start),
      end: element.dataset.end === undefined ? null : Number(element.dataset.end),
      choice: element.dataset.choice ?? "",
    }));
  }

  /** The row that sounds at a time lights up; the page goes to it, gently, where it follows. */
  place(seconds, follows) {
    const at = firstAfter(this.#rows, seconds - SOUNDING_S, this.#longest);
    const next = this.#rows.slice(at, at + 4).findLast(({ start_s: start }) => start <= seconds);
    if ((next?.row ?? null) === this.#current) return;
    this.#light(next?.row ?? null);
    if (follows && next) this.#follow(next.row);
  }

  highlight(eventId) {
    this.querySelector(".pointed")?.classList.remove("pointed");
    if (eventId !== null) this.#rowOf(eventId)?.classList.add("pointed");
  }

  /** What is written where an event is heard, or where the clip is now; null without a page. */
  refOf(eventId) {
    const row = eventId === null ? this.#current : this.#rowOf(eventId);
    return row?.closest("[data-ref]")?.dataset.ref ?? null;
  }

  /** The row of something written, brought into sight; null where it was not played. */
  showWritten(ref) {
    const head = this.querySelector(`.block[data-ref="${CSS.escape(ref)}"] [data-row]`);
    if (!head) return null;
    this.#reveal(head);
    return spanOf(head);
  }

  /** The row before (-1) or after (1) the one with the focus, or that sounds now. */
  walk(by) {
    const rows = [...this.querySelectorAll("[data-row]")];
    const from = rows.indexOf(document.activeElement?.closest?.("[data-row]"));
    let at = (from >= 0 ? from : rows.indexOf(this.#current)) + by;
    // To ask the browser what is visible would make it lay out every row of the page.
    while (rows[at]?.closest("details:not([open])")) at += by;
    const next = rows[at];
    if (!next) return null;
    next.focus({ preventScroll: true });
    this.#reveal(next);
    this.#emit("desk:walk", spanOf(next));
    return next;
  }

  /** The mark before or after the present one; it gets the focus. */
  walkMarks(by, seconds) {
    const marks = [...this.querySelectorAll("[data-mark]")];
    const here = marks.indexOf(this.mark(seconds));
    const held = marks.indexOf(document.activeElement?.closest?.("[data-mark]"));
    let next = (held >= 0 ? held : here) + by;
    if (held < 0 && here < 0) {
      const after = marks.findIndex((mark) => Number(mark.dataset.start) > seconds);
      next = by > 0 ? after : (after < 0 ? marks.length : after) - 1;
    }
    const mark = marks[next];
    if (!mark) return null;
    mark.focus({ preventScroll: true });
    this.#reveal(mark);
    this.#walkedTo = mark.dataset.mark;
    return mark;
  }

  /**
   * The mark that a decision is about: the one with the focus, else the one that was gone to and is
   * about to sound, else the one that sounds now, else the one that was gone to and has sounded. A
   * press on a button takes the focus away.
   */
  mark(seconds) {
    const held = document.activeElement?.closest?.(".block")?.querySelector("[data-mark]");
    if (held) return held;
    const marks = [...this.querySelectorAll("[data-mark]")];
    const inside = ({ dataset: { start, end } }, before = 0, after = 0) =>
      Number(start) - before <= seconds && seconds <= Number(end) + after;
    const gone = marks.find((mark) => mark.dataset.mark === this.#walkedTo);
    if (gone && inside(gone, BEFORE_S)) return gone;
    return marks.find((mark) => inside(mark)) ?? (gone && inside(gone, 0, AFTER_S) ? gone : null);
  }

  /** The double stop that is meant: of the row or mark with the focus, else what sounds now. */
  eventHere(seconds) {
    const held = document.activeElement?.closest?.("[data-row][data-event]");
    const block = document.activeElement?.closest?.(".block");
    const inside = ({ start_s: start, end_s: end }) => start <= seconds && seconds <= end;
    const row = held ?? block?.querySelector(".last[data-row], .head[data-row]");
    const found = row ?? this.#rows.findLast(inside)?.row;
    return found ? Number(found.dataset.event) : null;
  }

  toggleSingles() {
    const details = [...this.querySelectorAll("details[data-singles]")];
    const open = details.some((one) => !one.open);
    for (const one of details) one.open = open;
    return open;
  }

  /** Which row plays because it was pressed. */
  sounding(row) {
    this.querySelector("[aria-pressed='true'][data-row]")?.removeAttribute("aria-pressed");
    row?.setAttribute("aria-pressed", "true");
  }

  // -- callbacks ------------------------------------------------------------------------------

  #pressed(event) {
    const row = event.target.closest("[data-row]");
    if (!row) return;
    this.#oneTabStop(row);
    this.#emit("desk:row", { row, ...spanOf(row) });
  }

  #pointed(event) {
    const row = event.target.closest("[data-row]");
    this.#emit("desk:point", { event: row ? Number(row.dataset.event) : null });
  }

  #focused(event) {
    const row = event.target.closest("[data-row]");
    if (row) this.#oneTabStop(row);
    if (row?.dataset.event) this.#emit("desk:point", { event: Number(row.dataset.event) });
  }

  // -- internals ------------------------------------------------------------------------------

  #rowOf(eventId) {
    return this.#rows.find(({ event }) => event === eventId)?.row ?? null;
  }

  /** Two thousand rows are one stop for the Tab key; the arrows go from row to row. */
  #oneTabStop(row) {
    if (this.#stop && this.#stop !== row) this.#stop.tabIndex = -1;
    this.#stop = row ?? null;
    if (row) row.tabIndex = 0;
  }

  #light(row) {
    this.#current?.removeAttribute("aria-current");
    this.#current?.closest(".block")?.classList.remove("sounding");
    this.#current = row;
    row?.setAttribute("aria-current", "true");
    row?.closest(".block")?.classList.add("sounding");
  }

  #follow(row) {
    if (performance.now() - this.#scrolledAt < HANDS_OFF_MS) return;
    if (document.activeElement?.matches?.("input, textarea, select")) return;
    this.#reveal(row.closest(".block"));
  }

  #reveal(element) {
    const { top, bottom } = element.getBoundingClientRect();
    const far = bottom < -innerHeight || top > 2 * innerHeight;
    if (far) return this.#settle(element);
    const behavior = CALM.matches ? "auto" : "smooth";
    return element.scrollIntoView({ block: "nearest", behavior });
  }

  /** Rows on the way are as high as guessed until they are drawn; then the place is another. */
  #settle(element, frames = SETTLE_FRAMES) {
    if (!frames) return;
    element.scrollIntoView({ block: "nearest", behavior: "auto" });
    requestAnimationFrame(() => this.#settle(element, frames - 1));
  }

  #emit(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { bubbles: true, detail }));
  }
}

function spanOf({ dataset }) {
  const event = dataset.event === undefined ? null : Number(dataset.event);
  return { start_s: Number(dataset.start), end_s: Number(dataset.end), event };
}

customElements.define("clip-ledger", ClipLedger);
