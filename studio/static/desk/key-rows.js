// What the dialog of keys is made of: a row each, with what can be done to its key.

import { gettext } from "../translation.js";
import { shown } from "./keys.js";

/** A row: its keys, what they do, "change", and "as it was" where it is changed. */
export function pairOf(row, { change, reset }) {
  const term = made("dt");
  row.keys.forEach((name, n) => term.append(n ? gettext(" or ") : "", made("kbd", "", shown(name))));
  const meaning = made("dd", "", row.words);
  if (row.changed) meaning.append(" ", action(row, gettext("as it was"), () => reset(row.act)));
  if (!row.fixed) {
    const asks = action(row, gettext("change"), () => change(row.act));
    asks.dataset.change = row.act;
    meaning.append(" ", asks);
  }
  const pair = made("div");
  pair.append(term, meaning);
  return pair;
}

function action({ words }, text, pressed) {
  const one = button(text, pressed);
  one.className = "plain small";
  one.setAttribute("aria-label", `${text}: ${words}`);
  return one;
}

export function button(text, pressed) {
  const one = made("button", "", text);
  one.type = "button";
  one.addEventListener("click", pressed);
  return one;
}

export function made(tag, name = "", text = "") {
  const one = document.createElement(tag);
  if (name) one.className = name;
  if (text) one.textContent = text;
  return one;
}
