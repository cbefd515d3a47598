// What is pressed at the desk is shown at once, kept in this browser, and sent in its order until the
// server has it; see state.js, standing.js and outbox.js. Emits "desk:queued" { form, act, kept } once
// a form's words are an act, "desk:changed" { act, ok } after each answer.

import { gettext } from "../translation.js";
import { actOf, decisionOf, withWas } from "./acts-of-forms.js";
import { Answers } from "./answers.js";
import { sayHeld, sayRefused } from "./at-once.js";
import { DeskPage, giveBack } from "./desk-page.js";
import { KeptOutbox } from "./outbox-kept.js";
import { Outbox } from "./outbox.js";
import { Standing } from "./standing.js";
import { arrivedAt, begin, choiceOf, decide, nextOpen, pressed, select, tookOn, undo } from "./state.js";

const SHOWN_MS = 6000;
const OFFLINE = gettext("Not sent yet: there is no connection. It is kept here and sent when it is back.");
const BROKEN = gettext("The server could not do this yet. It is kept here and tried again.");
const FILE_GONE = gettext("This browser did not keep the recording, so nothing was sent. Record it again.");

export class Exchange {
  #root;
  #drafts;
  #answers;
  #kept;
  #outbox;
  #refused = []; // acts that the server would not have, until they are let go of
  #quiet = 0;
  #begun; // what stood when the page was made
  #behind = false; // the page was made before the last answer came to this tab, and catches up
  #goes = null; // what waits until all is sent
  standing;

  constructor(root, drafts, signal) {
    this.#root = root;
    this.#drafts = drafts;
    this.#answers = new Answers(root);
    this.#kept = new KeptOutbox(root.dataset);
    const page = new DeskPage(root, drafts);
    const { version, undoable } = root.dataset;
    this.#begun = begin({ marks: page.marks, version: Number(version), decided: JSON.parse(undoable) });
    this.standing = new Standing(page, () => this.#answers.standing(), this.#begun);
    this.#outbox = new Outbox({ post: (act) => this.#post(act), told: this.#told() });
    root.addEventListener("submit", (event) => this.#submitted(event), { signal });
    for (const name of ["online", "focus"]) addEventListener(name, () => this.#outbox.again(), { signal });
    signal.addEventListener("abort", () => this.#outbox.stop());
    root.toggleAttribute("data-unsent", true); // until it is known what was left
    this.#kept.takeOn((left) => this.#tookOn(left));
  }

  // -- actions --------------------------------------------------------------------------------

  /** Say it in the status line; good news goes away by itself. */
  say(words, stays = false) {
    const line = this.#root.querySelector("#said");
    if (!line) return;
    line.textContent = words;
    clearTimeout(this.#quiet);
    if (!stays) this.#quiet = setTimeout(() => (line.textContent = ""), SHOWN_MS);
  }

  get unsent() {
    return !this.#outbox.empty;
  }

  get state() {
    return this.standing.state;
  }

  /** Keep or drop a mark; false where it is so already. */
  decide(article, choice) {
    const act = decisionOf(article, choice, crypto.randomUUID(), Date.now());
    const next = decide(this.state, act.mark, choice, act);
    if (next === this.state) return false;
    this.#queue(next);
    return true;
  }

  /** The mark to go on to after a decision, or null. */
  get nextOpen() {
    return nextOpen(this.state);
  }

  /** The page itself has gone to a mark that nobody has heard yet. */
  arrivedAt(article) {
    this.standing.become(arrivedAt(this.state, article.dataset.about));
  }

  /** The selected mark was gone to, and is heard. */
  heard() {
    this.standing.become(select(this.state, this.state.selected));
  }

  /** Take back the last decision, or that of a key; false where there is none. */
  undo(key) {
    const act = { key: crypto.randomUUID(), kind: "undo", when: Date.now(), action: this.#root.dataset.undo };
    const next = undo(this.state, act, key);
    if (next === this.state) return false;
    const queued = next.queue.at(-1);
    queued.fields = [["of", queued.of]];
    this.#queue(next);
    return true;
  }

  /** Go on once all is sent: at once, or after the last answer if nothing is refused until then. */
  whenSent(go) {
    if (!this.unsent) return go();
    this.#goes = go;
    return this.say(this.#outbox.lost ? OFFLINE : gettext("Sending what you did first."), true);
  }

  // -- callbacks ------------------------------------------------------------------------------

  #submitted(event) {
    const form = event.target;
    if (!form.matches("[data-exchange]") || event.defaultPrevented) return;
    event.preventDefault();
    const { submitter } = event;
    if (submitter?.matches("[data-decide]")) return; // a press on it is an act of its own
    if (form.dataset.exchange === "undo") return void this.undo(form.elements.of.value);
    const { act, file } = actOf(form, submitter, crypto.randomUUID(), Date.now());
    const sets = this.#setsOf(act);
    const kept = file && this.#kept.keepFile(act.key, ...file);
    this.#queue(pressed(this.state, { ...withWas(form, act), sets, file: Boolean(file) }));
    this.#drafts.forget(form);
    this.#emit("desk:queued", { form, act, kept });
  }

  #told() {
    return {
      settled: (act, answer) => this.#settled(act, answer),
      refused: (act, answer) => this.#wasRefused(act, answer),
      lost: (_, { outcome }) => this.say(outcome === "failed" ? BROKEN : OFFLINE, true),
      held: ({ why }) => this.#held(why),
      changed: () => this.#keep(),
    };
  }

  async #settled(act, answer) {
    this.#root.querySelector(".held")?.remove();
    await this.standing.settle(act, answer);
    if (act.kind !== "decide") this.say(answer.said); // that was said when it was pressed
    if (act.file) this.#kept.forgetFile(act.key);
    this.#emit("desk:changed", { act, ok: true });
    if (this.unsent || !this.#goes) return;
    const go = this.#goes;
    this.#goes = null;
    go();
  }

  async #wasRefused(act, answer) {
    this.#goes = null;
    const { fallen, form } = await this.standing.refuse(act, answer);
    for (const { key } of fallen) this.#outbox.drop(key);
    if (form && act.file) giveBack(form, await this.#kept.fileOf(act.key));
    if (!form) this.#sayRefused({ ...act, why: answer.why });
    this.say(answer.why, true);
    this.#emit("desk:changed", { act, ok: false });
  }

  /** Nobody is logged in, or somebody else: what was done waits for its own person. */
  #held(why) {
    this.say(sayHeld(this.#root, why), true);
  }

  // -- internals ------------------------------------------------------------------------------

  #tookOn({ acts, refused }) {
    const base = this.#begun ?? { ...this.state, queue: [] }; // later, from how it stands by then
    this.#begun = null;
    this.#behind = this.#kept.version > base.version;
    this.standing.become(tookOn(base, this.state, acts));
    this.#outbox.begin(acts);
    for (const act of refused) this.#sayRefused(act);
    if (this.#behind) this.#catchUp();
  }

  async #catchUp() {
    await this.standing.refresh();
    this.#behind = false;
    this.#keep();
  }

  #keep() {
    const { version } = this.state;
    this.#kept.write({ acts: this.#outbox.acts, refused: this.#refused, version });
    this.#root.toggleAttribute("data-unsent", this.unsent || this.#behind);
  }

  #queue(next) {
    this.standing.become(next);
    this.#outbox.push(next.queue.at(-1));
  }

  async #post(act) {
    const file = act.file ? await this.#kept.fileOf(act.key) : null;
    if (act.file && !file) return { outcome: "refused", why: FILE_GONE };
    return this.#answers.post(act, file);
  }

  /** The marks that a form decides. */
  #setsOf({ kind, mark, fields }) {
    if (kind === "words") return [[mark, "kept"]];
    if (kind !== "kind") return [];
    const said = Object.fromEntries(fields);
    const which = said.kind ? `[data-kind="${CSS.escape(said.kind)}"]` : "[data-about]";
    const same = [...this.#root.querySelectorAll(which)];
    const open = same.filter(({ dataset }) => choiceOf(this.state, dataset.about) === "");
    return open.map(({ dataset }) => [dataset.about, said.choice]);
  }

  #sayRefused(act) {
    this.#refused.push(act);
    this.#keep();
    sayRefused(this.#root, act, act.why, (note) => {
      note.remove();
      this.#refused = this.#refused.filter(({ key }) => key !== act.key);
      this.#keep();
    });
  }

  #emit(name, detail) {
    this.#root.dispatchEvent(new CustomEvent(name, { bubbles: true, detail }));
  }
}
