// On the way out: logging out empties this browser, and with it what was pressed at the desk and is
// not with the server yet, takes that were recorded here, and practice that was noted or timed here.
// A desk that is open sends what was pressed first; where that does not succeed soon, it is said what
// would be lost, and the choice is the person's.

import { practiceNoted } from "../practice/kept-here.js";
import { filesNoted, filesSaid, takesNoted, takesSaid } from "../recording/take-notes.js";
import { gettext, ngettext } from "../translation.js";

const PATIENCE_MS = 1500;
const LOOK_MS = 150;
const DECIDES = ["decide", "kind", "words", "undo"];
const TAKE = "take";
const FILE = "file";
const PRACTICE = "practice";
const ARRIVES = gettext("You are logged out as soon as they have arrived.");
const OPEN = { [TAKE]: gettext("Open the takes"), [FILE]: gettext("Open what waits"), [PRACTICE]: gettext("Open it") };
const SEND_OR_DELETE = gettext("Send what you want to keep, and delete the rest.");

/** What a person pressed that waits in a store: [{ clip, kind }]. */
export function unsentOf(person, store) {
  const begin = `desk-acts:${person}:`;
  const names = Object.keys(store).filter((name) => name.startsWith(begin));
  return names.flatMap((name) => {
    const clip = name.slice(begin.length).split(":")[0];
    return JSON.parse(store[name]).acts.map(({ kind }) => ({ clip, kind }));
  });
}

/** Takes that were recorded and not sent: [{ kind, at }], `at` being the page that has it. */
export function unsentTakes(person, store) {
  return takesNoted(person, store).map((at) => ({ kind: TAKE, at }));
}

/** The same of chosen recordings that wait for a line. */
export function unsentFiles(person, store) {
  return filesNoted(person, store).map((at) => ({ kind: FILE, at }));
}

/** The same of practice: entries, and a timer that was begun. */
export function unsentPractice(person, store) {
  return practiceNoted(person, store).map((at) => ({ kind: PRACTICE, at }));
}

/** "2 decisions are not sent yet"; with comments and the like among them, "3 things from the desk …". */
export function unsentSaid(acts) {
  const many = (which) => acts.filter(({ kind }) => kind === which).length;
  const [takes, files, practice] = [many(TAKE), many(FILE), many(PRACTICE)];
  const pressed = pressedSaid(acts.filter(({ at }) => !at));
  return [pressed, takes ? takesSaid(takes) : "", files ? filesSaid(files) : "", practiceSaid(practice)].filter(Boolean).join(gettext(", and "));
}

function practiceSaid(count) {
  if (!count) return "";
  return ngettext("practice on this device is not noted yet", "%(count)s entries of practice are not noted yet", count);
}

function pressedSaid(acts) {
  if (!acts.length) return "";
  const decisions = acts.every(({ kind }) => DECIDES.includes(kind));
  return decisions
    ? ngettext("%(count)s decision is not sent yet", "%(count)s decisions are not sent yet", acts.length)
    : ngettext("%(count)s thing from the desk is not sent yet", "%(count)s things from the desk are not sent yet", acts.length);
}

addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-log-out]") || "goes" in form.dataset) return;
  if (!waiting(form).length) return;
  event.preventDefault();
  if (!document.querySelector(".unsent")) leave(form);
});

/** As soon as nothing waits any more; said after a while, and then still. */
function leave(form) {
  const begun = performance.now();
  const look = setInterval(() => {
    const acts = waiting(form);
    if (!acts.length) go();
    else if (performance.now() - begun > PATIENCE_MS) say(form, acts, go, () => clearInterval(look));
  }, LOOK_MS);
  const go = () => {
    clearInterval(look);
    form.dataset.goes = "";
    form.requestSubmit();
  };
}

const waiting = (form) => {
  try {
    const person = form.dataset.logOut;
    const own = [unsentOf, unsentTakes, unsentFiles, unsentPractice];
    return own.flatMap((found) => found(person, localStorage));
  } catch {
    return []; // a browser that keeps nothing loses nothing
  }
};

function say(form, acts, go, stay) {
  const unsent = unsentSaid(acts);
  const sentence = ngettext("%(unsent)s. Logging out now would lose it.",
    "%(unsent)s. Logging out now would lose them.", acts.length, { unsent });
  const words = `${sentence} `;
  const there = document.querySelector(".unsent");
  if (there) {
    const [said] = there.querySelector("p").childNodes;
    if (said.data !== words) said.data = words;
    return;
  }
  const notice = made("div", "notice unsent");
  notice.setAttribute("role", "alert");
  notice.append(made("p", "", words), made("div", "row"));
  notice.querySelector("p").append(...ways(acts));
  const leaves = (callback) => () => {
    notice.remove();
    callback();
  };
  notice.querySelector(".row").append(
    button(gettext("Stay logged in"), leaves(() => (stay(), form.querySelector("button").focus()))),
    button(gettext("Log out without sending"), leaves(go)),
  );
  document.querySelector("main").prepend(notice);
  notice.querySelector("button").focus();
}

/** Where they are sent from: the clips' own pages, but for the one that is open. */
function ways(acts) {
  const all = new Map(acts.map((act) => [act.at ?? `/clips/${act.clip}/`, act.kind]));
  const others = [...all].filter(([way]) => way !== location.pathname);
  if (!others.length) return [all.get(location.pathname) === TAKE ? SEND_OR_DELETE : ARRIVES];
  return others.flatMap(([way, kind], n) => {
    const clip = n ? gettext("Clip %(number)s", { number: n + 1 }) : gettext("Open the clip to send them");
    const link = made("a", "", OPEN[kind] ?? clip);
    link.href = way;
    return n ? [" · ", link] : [link];
  });
}

function button(words, pressed) {
  const one = made("button", "", words);
  one.type = "button";
  one.addEventListener("click", pressed);
  return one;
}

function made(tag, name = "", text = "") {
  const one = document.createElement(tag);
  if (name) one.className = name;
  if (text) one.textContent = text;
  return one;
}
