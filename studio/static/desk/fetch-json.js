// Asks the server for a document.

/** A JSON document, or null when it is not there (yet). */
export async function fetchJson(address, signal) {
  try {
    const answer = await fetch(address, { signal });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}
