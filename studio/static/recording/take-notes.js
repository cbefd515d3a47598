// What localStorage says of recordings that are on this device and not sent, so that a page knows
// without opening their database. Pure, but for `note`.

import { ngettext } from "../translation.js";

export const NOTE = "studio:take:"; // recorded here; then the person and the take
export const FILE_NOTE = "studio:file:"; // chosen, and waiting for a line; then the person and its key

/** The addresses of the pages that have takes of a person, one for each take. */
export function takesNoted(person, store) {
  return noted(NOTE, person, store);
}

/** The same of chosen recordings that wait for a line. */
export function filesNoted(person, store) {
  return noted(FILE_NOTE, person, store);
}

/** "2 takes are not sent yet" */
export function takesSaid(count) {
  return ngettext("%(count)s take recorded here is not sent yet", "%(count)s takes recorded here are not sent yet", count);
}

/** "2 recordings wait for a line" */
export function filesSaid(count) {
  return ngettext("%(count)s recording waits here to be sent", "%(count)s recordings wait here to be sent", count);
}

/** Say that it is here, at the page of that address; `null` once it is not any more. */
export function note(kind, person, id, address) {
  try {
    if (address) localStorage.setItem(`${kind}${person}:${id}`, address);
    else localStorage.removeItem(`${kind}${person}:${id}`);
  } catch {
    // private windows may refuse; then it is kept as long as the page stands
  }
}

function noted(kind, person, store) {
  const begin = `${kind}${person}:`;
  return Object.keys(store).filter((name) => name.startsWith(begin)).map((name) => store[name]);
}
