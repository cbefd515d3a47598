// Shows what was pressed before the server has it, and says at its place what the server refused.
// An answer confirms it or takes it away; all here may be done again and again.

import { gettext } from "../translation.js";
import { counts } from "./quiet.js";
import { choiceOf, isPending } from "./state.js";
import { parsePlace, place } from "../figures.js";

const CHOICES = { kept: ["keep", gettext("Kept"), gettext("Keep")], dropped: ["drop", gettext("Dropped"), gettext("Drop")] };

/** Every mark shows what is decided about it, confirmed or not, and which one is selected. */
export function showMarks(ledger, state) {
  for (const article of ledger.querySelectorAll("[data-about]")) {
    const { about } = article.dataset;
    article.toggleAttribute("data-pending", isPending(state, about));
    if (article.querySelector("[data-decide]")) showChoice(article, choiceOf(state, about));
  }
}

function showChoice(article, choice) {
  if ((article.dataset.shown ?? article.dataset.choice) === choice) return;
  article.dataset.shown = article.dataset.choice = choice;
  for (const name of ["open", "kept", "dropped"]) article.classList.toggle(name, (choice || "open") === name);
  for (const [of, [decide, done, todo]] of Object.entries(CHOICES)) {
    const button = article.querySelector(`[data-decide="${decide}"]`);
    button.setAttribute("aria-pressed", choice === of);
    button.textContent = choice === of ? done : todo;
  }
  const block = article.closest(".block");
  const marks = [...block.querySelectorAll(".found")].filter(counts);
  const dropped = marks.every((one) => one.dataset.choice === "dropped");
  block.classList.toggle("marked", !dropped);
  block.classList.toggle("dropped", marks.length > 0 && dropped);
}

/** What an act changes beyond decisions: words, something new, something gone. */
export function showAct(ledger, act) {
  const target = placeOf(ledger, act);
  if (act.show === "words" && target) target.querySelector(".sentence, :scope > .text")?.replaceChildren(act.words);
  if (act.show === "gone" && target) target.hidden = true;
  if (act.show === "new" && !document.getElementById(`act-${act.key}`)) put(ledger, act);
}

/** The answer to an act is here: what it showed gives way to what stands. */
export function takeAway(ledger, act) {
  document.getElementById(`act-${act.key}`)?.remove();
  const target = placeOf(ledger, act);
  if (act.show === "gone" && target) target.hidden = false;
}

/** The server will not have it: why, at its place, with the words that it brought. */
export function sayRefused(ledger, act, why, letGo) {
  document.getElementById(`act-${act.key}`)?.remove();
  const note = made("div", "notice refused");
  note.id = `act-${act.key}`;
  note.dataset.own = "";
  note.setAttribute("role", "alert");
  note.append(made("p", "", why));
  if (act.words) note.append(made("p", "prose words", act.words));
  const button = made("button", "plain small", gettext("Let it go"));
  button.type = "button";
  button.addEventListener("click", () => letGo(note));
  note.append(button);
  (placeOf(ledger, act) ?? blockAt(ledger, act)).append(note);
}

const HELD = {
  "log-in": gettext("You were logged out. What you did is kept in this browser."),
  person: gettext("Somebody else is logged in in this browser. What you did is kept in it for you."),
};

/** Why nothing can be sent, and the way on; gone once something is. The words that say it. */
export function sayHeld(desk, why) {
  const notice = made("p", "notice held", `${HELD[why]} `);
  notice.dataset.own = "";
  notice.setAttribute("role", "alert");
  const link = made("a", "", gettext("Log in and go on"));
  link.href = `${desk.dataset.logIn}?${new URLSearchParams({ next: location.pathname })}`;
  notice.append(link);
  desk.querySelector(".held")?.remove();
  desk.querySelector(".desk-head").append(notice);
  return HELD[why];
}

function put(ledger, act) {
  const item = made("div", `comment new ${act.kind}`);
  item.id = `act-${act.key}`;
  item.dataset.own = item.dataset.pending = "";
  const line = made("p", "line");
  line.append(made("span", "when", place(secondsOf(act), 1)), " ", made("span", "quiet small sending", gettext("not sent yet")));
  item.append(line, made("div", "text prose", act.words));
  blockAt(ledger, act).append(item);
}

function placeOf(ledger, { at, mark }) {
  if (mark) return ledger.querySelector(`[data-about="${CSS.escape(mark)}"]`);
  return at ? document.getElementById(at) : null;
}

const secondsOf = ({ fields }) => parsePlace(fields.find(([name]) => name === "start_s")?.[1] ?? "") ?? 0;

/** The block of an act's moment: the last that has begun, else that of the whole clip. */
function blockAt(ledger, act) {
  const seconds = secondsOf(act) + 0.05; // as the server has it: just before an onset is about the note
  const begun = [...ledger.querySelectorAll(".block")].filter((block) => startOf(block) <= seconds);
  begun.sort((a, b) => startOf(a) - startOf(b));
  return begun.at(-1) ?? ledger.querySelector(".block") ?? ledger;
}

const startOf = (block) => Number(block.querySelector("[data-row][data-event]")?.dataset.start ?? 0);

function made(tag, name = "", text = "") {
  const one = document.createElement(tag);
  if (name) one.className = name;
  if (text) one.textContent = text;
  return one;
}
