// What localStorage says of takes that were recorded in this browser and are not sent. Pure.

export const NOTE = "studio:take:"; // then the person and the take; the value is the page's address

/** The addresses of the pages that have takes of a person, one for each take. */
export function takesNoted(person, store) {
  const begin = `${NOTE}${person}:`;
  return Object.keys(store).filter((name) => name.startsWith(begin)).map((name) => store[name]);
}

/** "2 takes are not sent yet" */
export function takesSaid(count) {
  return count === 1 ? "1 take recorded here is not sent yet" : `${count} takes recorded here are not sent yet`;
}
