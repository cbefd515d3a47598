// The desk's keys, all in this one place. Pure: no document, no state. A row is one line; the
// server reads the table from here (review/web/shared/keys.py). A row that is `fixed` keeps its key.
// A key is what KeyboardEvent.key says, with "Shift+" before it where Shift is held and the key
// alone does not tell (letters and arrows). "Space" stands for the space bar. A row is the desk's,
// that of another `page`, or of "both": one key may do one thing on each page.

import { gettext } from "../translation.js";

export const KEYS = [
  { act: "play", keys: ["Space"], words: gettext("play or pause"), page: "both" },
  { act: "back-1", keys: ["ArrowLeft"], words: gettext("back 1 second") },
  { act: "forward-1", keys: ["ArrowRight"], words: gettext("forward 1 second") },
  { act: "back-5", keys: ["Shift+ArrowLeft"], words: gettext("back 5 seconds") },
  { act: "forward-5", keys: ["Shift+ArrowRight"], words: gettext("forward 5 seconds") },
  { act: "back-frame", keys: [","], words: gettext("back one frame") },
  { act: "forward-frame", keys: ["."], words: gettext("forward one frame") },
  { act: "slower", keys: ["s"], words: gettext("slower, same pitch") },
  { act: "faster", keys: ["f"], words: gettext("faster, up to full speed") },
  { act: "loop", keys: ["l"], words: gettext("loop the selected span, or stop looping") },
  { act: "next-mark", keys: ["n"], words: gettext("hear the next mark") },
  { act: "previous-mark", keys: ["p"], words: gettext("previous mark") },
  { act: "keep", keys: ["k"], words: gettext("keep the selected mark") },
  { act: "drop", keys: ["d"], words: gettext("drop the selected mark") },
  { act: "keep-rest", keys: ["Shift+K"], words: gettext("keep every mark that is left") },
  { act: "undo", keys: ["z"], words: gettext("take back the last decision") },
  { act: "span-start", keys: ["x", "["], words: gettext("a span begins here") },
  { act: "span-end", keys: ["Shift+X", "]"], words: gettext("the span ends here") },
  { act: "edit", keys: ["e"], words: gettext("say this mark in your own words") },
  { act: "target", keys: ["h"], words: gettext("hear the target of this double stop") },
  { act: "mark-here", keys: ["m"], words: gettext("mark by hand: the selected span, or here") },
  { act: "bar-here", keys: ["Shift+B"], words: gettext("say which bar of the page this is") },
  { act: "kinds", keys: ["g"], words: gettext("marks by kind: keep or drop all of one") },
  { act: "tolerance", keys: ["o"], words: gettext("tolerance of this clip") },
  { act: "comment", keys: ["c"], words: gettext("comment here") },
  { act: "praise", keys: ["Shift+G"], words: gettext("say what went well here (good)") },
  { act: "comment-span", keys: ["Shift+C"], words: gettext("comment over the selected span") },
  { act: "comment-note", keys: ["y"], words: gettext("comment on the note chosen in the drill's page") },
  { act: "phrases", keys: ["q"], words: gettext("a phrase of yours into the comment (quote)") },
  { act: "reply", keys: ["v"], words: gettext("voice reply: record, then stop; Ctrl Enter adds it") },
  { act: "draw", keys: ["i"], words: gettext("draw on this picture (ink)") },
  { act: "next-row", keys: ["ArrowDown"], words: gettext("next row"), page: "both" },
  { act: "previous-row", keys: ["ArrowUp"], words: gettext("previous row"), page: "both" },
  { act: "singles", keys: ["b"], words: gettext("show or fold the broken notes") },
  { act: "zoom-in", keys: ["+", "="], words: gettext("nearer") },
  { act: "zoom-out", keys: ["-"], words: gettext("farther") },
  { act: "follow", keys: ["u"], words: gettext("follow what plays, or stay (unfollow)") },
  { act: "whole", keys: ["0"], words: gettext("the whole clip") },
  { act: "drill-here", keys: ["Shift+A"], words: gettext("drills that treat this mark, span or bar") },
  { act: "compare", keys: ["j"], words: gettext("against an earlier clip, at this row (join)") },
  { act: "together", keys: ["Shift+J"], words: gettext("beside an earlier clip, in step: for hand and bow") },
  { act: "drill", keys: ["a"], words: gettext("set a drill (assignment)") },
  { act: "score", keys: ["Shift+Y"], words: gettext("the drill's page: all of it, or the line that plays") },
  { act: "summary", keys: ["Shift+S"], words: gettext("write the summary") },
  { act: "propose", keys: ["Shift+P"], words: gettext("a summary proposed, and its preview") },
  { act: "templates", keys: ["Shift+T"], words: gettext("a template of yours into the summary") },
  { act: "return", keys: ["r"], words: gettext("preview and return") },
  { act: "take-back", keys: ["t"], words: gettext("take back what was just returned") },
  { act: "next-clip", keys: ["w"], words: gettext("next waiting clip") },
  { act: "previous-clip", keys: ["Shift+W"], words: gettext("clip before it") },
  { act: "switch", keys: ["a"], words: gettext("the same note then, or now"), page: "compare" },
  { act: "both-back", keys: ["ArrowLeft"], words: gettext("both back 1 second"), page: "together" },
  { act: "both-forward", keys: ["ArrowRight"], words: gettext("both forward 1 second"), page: "together" },
  { act: "frame-back", keys: [","], words: gettext("both back one frame"), page: "together" },
  { act: "frame-forward", keys: ["."], words: gettext("both forward one frame"), page: "together" },
  { act: "both-slower", keys: ["s"], words: gettext("slower: a half, a quarter"), page: "together" },
  { act: "both-faster", keys: ["f"], words: gettext("faster, up to full speed"), page: "together" },
  { act: "then-back", keys: ["Shift+ArrowLeft", "["], words: gettext("the earlier clip alone, a little back"), page: "together" },
  { act: "then-forward", keys: ["Shift+ArrowRight", "]"], words: gettext("the earlier clip alone, a little forward"), page: "together" },
  { act: "begin-here", keys: ["x"], words: gettext("both begin here"), page: "together" },
  { act: "to-begin", keys: ["b"], words: gettext("back to where both begin"), page: "together" },
  { act: "sound", keys: ["a"], words: gettext("which of the two is heard"), page: "together" },
  { act: "to-desk", keys: ["j"], words: gettext("back to the clip"), page: "together" },
  { act: "next-take", keys: ["n", "w"], words: gettext("next clip, from its start"), page: "batch" },
  { act: "previous-take", keys: ["p", "Shift+W"], words: gettext("clip before it, from its start"), page: "batch" },
  { act: "write", keys: ["c"], words: gettext("write its summary"), page: "batch" },
  { act: "offered", keys: ["1", "2", "3", "4", "5"], words: gettext("put in what is offered, by its number"), page: "batch", fixed: true },
  { act: "example", keys: ["v"], words: gettext("attach your recorded example, or take it off"), page: "batch" },
  { act: "at-desk", keys: ["e"], words: gettext("open it at the desk"), page: "batch" },
  { act: "return-batch", keys: ["r"], words: gettext("go on to returning"), page: "batch" },
  { act: "back", keys: ["j", "Escape"], words: gettext("back to the clip, where you were"), page: "compare", fixed: true },
  { act: "help", keys: ["?"], words: gettext("these keys"), page: "both" },
  { act: "cancel", keys: ["Escape"], words: gettext("close what is open; let go of the span, stop looping"), fixed: true },
];

/** The name of a pressed key, as the table writes it; empty with Ctrl, Alt or Command. */
export function nameOf({ key, shiftKey, ctrlKey, altKey, metaKey }) {
  if (ctrlKey || altKey || metaKey) return "";
  if (key === " ") return "Space";
  const tells = key.length === 1 && key.toLowerCase() === key.toUpperCase();
  if (key.length === 1 && !tells) return shiftKey ? `Shift+${key.toUpperCase()}` : key.toLowerCase();
  return shiftKey && !tells ? `Shift+${key}` : key;
}

// Keys that the browser, the focus or a dialog needs.
const TAKEN = ["Escape", "Tab", "Enter", "Backspace", "ContextMenu", "Dead", "Process", "Unidentified"];
const MOVES = ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End", "PageUp", "PageDown"];
const NAMED = ["Space", "Insert", "Delete", ...MOVES];

/** The table with what a teacher has changed: { act: key }. A key of theirs is no other action's. */
export function inForce(changed, table = KEYS) {
  const own = table.filter(({ act, fixed }) => !fixed && changed[act]);
  return table.map((row) => {
    if (own.includes(row)) return { ...row, keys: [changed[row.act]], changed: true };
    const free = (key) => !own.some((other) => changed[other.act] === key && meet(other, row));
    return { ...row, keys: row.keys.filter(free), changed: false };
  });
}

/** Whether a pressed key can be given to an action. */
export function canBeGiven(name) {
  const bare = name.replace(/^Shift\+(?=.)/, "");
  return !TAKEN.includes(bare) && ([...bare].length === 1 || NAMED.includes(bare));
}

/** The rows of one page. */
export const onPage = (table, page) => table.filter((row) => row.page === "both" || row.page === page);

/** Whether a key would do two things if both rows had it. */
const meet = (one, other) => one.page === other.page || [one.page, other.page].includes("both");

/** The row that has a key which an action is to get; null where none is in its way. */
export function holderOf(name, act, table) {
  const own = table.find((row) => row.act === act);
  return table.find((row) => row.keys.includes(name) && (row === own || meet(row, own))) ?? null;
}

/** What is changed once an action has a key; with `from`, that action gets the first one's key. */
export function given(changed, act, name, from = null) {
  const first = (of) => inForce(changed).find((row) => row.act === of).keys[0];
  const next = { ...changed, [act]: name, ...(from ? { [from]: first(act) } : {}) };
  return Object.fromEntries(Object.entries(next).filter(([of, key]) => !isOwn(of, key)));
}

/** What is changed once an action has its own key again, and who has that key now, or null. */
export function asItWas(changed, act) {
  const { [act]: gone, ...rest } = changed;
  const own = KEYS.find((row) => row.act === act);
  const holds = (row) => row.act !== act && meet(row, own) && row.keys.some((key) => own.keys.includes(key));
  return { changed: rest, holder: inForce(rest).find(holds) ?? null };
}

function isOwn(act, key) {
  const { keys } = KEYS.find((row) => row.act === act);
  return keys.length === 1 && keys[0] === key;
}

/** The action of a key's name, or null. */
export function actOf(name, table = KEYS) {
  return table.find(({ keys }) => keys.includes(name))?.act ?? null;
}

/** Whether a key belongs to the element that has the focus, and must be left to it. */
export function belongsTo(name, { tag, type = "", editable = false }) {
  if (editable || tag === "TEXTAREA" || tag === "SELECT") return true;
  if (tag === "INPUT") return !["button", "submit", "checkbox"].includes(type) || name === "Space";
  const pressed = name === "Space" || name === "Enter";
  return pressed && ["BUTTON", "A", "SUMMARY", "VIDEO", "AUDIO"].includes(tag);
}

/** The action that a press asks for; null where the key belongs to the element with the focus. */
export function asked(event, table) {
  const name = nameOf(event);
  const { tagName: tag, type, isContentEditable: editable } = event.target;
  if (event.defaultPrevented || !name || belongsTo(name, { tag, type, editable })) return null;
  return actOf(name, table);
}

const NAMES = {
  ...{ ArrowLeft: "←", ArrowRight: "→", ArrowUp: "↑", ArrowDown: "↓" },
  ...{ Escape: gettext("Esc"), Shift: gettext("Shift"), Space: gettext("Space") },
};

/** A key as it is shown to people. */
export function shown(name) {
  return name.split("+").map((part) => NAMES[part] ?? part).join(" ").trim() || "+";
}

/** The keys of a row as they are shown: "→ or K". */
export const keysOf = ({ keys }) => keys.map(shown).join(gettext(" or "));

/** Hand on what was pressed before the page listened, in order, once. */
export function handOnEarly(handle) {
  const pressed = globalThis.earlyKeys ?? [];
  globalThis.earlyKeys = null;
  pressed.forEach(handle);
}
