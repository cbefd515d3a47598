// <clip-ledger>: the rows of the page. It knows which mark or row is selected, which row sounds now
// (these are two things), and how to walk from row to row and from mark to mark. Emits "desk:row"
// { row, start, end } when a row is pressed, "desk:select" when another is selected, "desk:sound" when
// another sounds, "desk:point" { event } when one is pointed at, and "desk:walk" { start_s, end_s } when
// the arrows have gone to one.

import { Rows, spanOf } from "./ledger-rows.js";
import { isQuiet, loudFirst } from "./quiet.js";
import { reveal } from "./reveal.js";

const HANDS_OFF_MS = 4000; // after the reader scrolls, the page leaves the place to them

export class ClipLedger extends HTMLElement {
  #aborter = null;
  #rows = new Rows();
  #current = null;
  #stop = null; // the row that the Tab key stops at
  #scrolledAt = -Infinity;
  #selected = null; // a mark, or a row where none is

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
    this.#rows = new Rows(found);
    this.#oneTabStop(this.#stop?.isConnected ? this.#stop : found[0]);
    this.#current = this.#current?.isConnected ? this.#current : null;
    if (this.#selected && !this.#selected.isConnected) this.#selected = null;
  }

  /** The mark that is selected: what keys decide is about it. */
  get mark() {
    return this.#selected?.matches("[data-about]") ? this.#selected : null;
  }

  /** The row of an event that is selected, also in the block of a selected mark. */
  get row() {
    if (this.#selected?.matches("[data-row][data-event]")) return this.#selected;
    return this.#selected?.closest(".block").querySelector(".last[data-row], .head[data-row]") ?? null;
  }

  /** Select a mark, or a row and with it the mark of its block; null lets go. */
  select(element) {
    const mark = element?.closest("[data-about]") ?? element?.closest(".block")?.querySelector("[data-about]");
    const selected = mark ?? element?.closest("[data-row][data-event]") ?? null;
    if (selected === this.#selected) return;
    this.#selected?.removeAttribute("data-selected");
    this.#selected = selected;
    selected?.setAttribute("data-selected", "");
    this.#emit("desk:select", {});
  }

  /** Into sight and under the keys: the focus goes to what the reader went to. */
  goTo(element) {
    element.closest("#ledger-fold")?.setAttribute("open", "");
    element.focus({ preventScroll: true });
    this.select(element);
    reveal(element);
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
    const next = this.#rows.soundingAt(seconds);
    if (next === this.#current) return;
    this.#light(next);
    if (follows && next) this.#follow(next);
  }

  highlight(eventId) {
    this.querySelector(".pointed")?.classList.remove("pointed");
    if (eventId !== null) this.#rows.of(eventId)?.classList.add("pointed");
  }

  /** What is written where an event is heard, or where the clip is now; null without a page. */
  refOf(eventId) {
    const row = eventId === null ? this.#current : this.#rows.of(eventId);
    return row?.closest("[data-ref]")?.dataset.ref ?? null;
  }

  /** The row of something written, brought into sight; null where it was not played. */
  showWritten(ref) {
    const head = this.querySelector(`.block[data-ref="${CSS.escape(ref)}"] [data-row]`);
    if (!head) return null;
    reveal(head);
    return spanOf(head);
  }

  /** The row before (-1) or after (1) the one with the focus, or selected, or that sounds now. */
  walk(by) {
    const rows = [...this.querySelectorAll("[data-row]")];
    const held = rows.indexOf(document.activeElement?.closest?.("[data-row]"));
    let at = (held >= 0 ? held : rows.indexOf(this.row ?? this.#current)) + by;
    // To ask the browser what is visible would make it lay out every row of the page.
    while (rows[at]?.closest("details:not([open])")) at += by;
    const next = rows[at];
    if (!next) return null;
    this.goTo(next);
    this.#emit("desk:walk", spanOf(next));
    return next;
  }

  /** The mark before or after the selected one, or row; where nothing is selected, by the time. */
  markFrom(by, seconds) {
    const marks = loudFirst(this.querySelectorAll("[data-about]"));
    const at = marks.indexOf(this.#selected);
    if (at >= 0) return marks[at + by] ?? null;
    const way = by > 0 ? Node.DOCUMENT_POSITION_FOLLOWING : Node.DOCUMENT_POSITION_PRECEDING;
    const beyond = this.#selected
      ? (mark) => this.#selected.compareDocumentPosition(mark) & way
      : ({ dataset: { start, end } }) => (by > 0 ? Number(start) > seconds : Number(end) < seconds);
    const there = marks.filter(beyond);
    const loud = there.filter((mark) => !isQuiet(mark));
    return (loud.length ? loud : there).at(by > 0 ? 0 : -1) ?? null;
  }

  /** The row that a time is within, or null. */
  rowAt(seconds) {
    return this.#rows.at(seconds);
  }

  /** The double stop that is meant: the selected one, else what sounds now. */
  eventHere(seconds) {
    const found = this.row ?? this.rowAt(seconds);
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
    this.select(row);
    this.#emit("desk:row", { row, ...spanOf(row) });
  }

  #pointed(event) {
    const row = event.target.closest("[data-row]");
    this.#emit("desk:point", { event: row ? Number(row.dataset.event) : null });
  }

  #focused(event) {
    if (event.target.closest(".block")) this.select(event.target);
    const row = event.target.closest("[data-row]");
    if (row) this.#oneTabStop(row);
    if (row?.dataset.event) this.#emit("desk:point", { event: Number(row.dataset.event) });
  }

  // -- internals ------------------------------------------------------------------------------

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
    this.#emit("desk:sound", { mark: row?.closest(".block")?.querySelector("[data-about]")?.dataset.about ?? null });
  }

  #follow(row) {
    if (performance.now() - this.#scrolledAt < HANDS_OFF_MS) return;
    if (document.activeElement?.matches?.("input, textarea, select")) return;
    reveal(row.closest(".block"));
  }

  #emit(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { bubbles: true, detail }));
  }
}

customElements.define("clip-ledger", ClipLedger);
