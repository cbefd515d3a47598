// What the page lists as half sent: the server's own list of this person's, and of nobody else's.

/** The words {subject, title, note, assignment} of what was begun of a recording; null when nothing was. */
export function halfOf(page, size, fingerprint) {
  for (const { dataset } of page.querySelectorAll("[data-half]")) {
    if (fingerprint && dataset.fingerprint === fingerprint && Number(dataset.length) === size) {
      const { subject, title, note, assignment } = dataset;
      return { subject, title, note, assignment };
    }
  }
  return null;
}
