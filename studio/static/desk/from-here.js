// Drills that treat a place of the clip, in a dialog: what the server proposes for it, each to be
// seen and set. Loaded when first used. Its forms are sent as all forms of the desk; once one is
// set the dialog closes, and the focus is where it was.

import "../drills/drill-sheet.js";

const FAILED = "The drills could not be fetched. Try again when the connection is back.";

/** Show what is proposed at an address of the page of drills from here. */
export async function offerDrills({ root, say }, address) {
  const html = await fetchPanel(address);
  if (html === null) return say(FAILED);
  const dialog = opened(root, html);
  const listening = new AbortController();
  const { signal } = listening;
  dialog.addEventListener("keydown", (event) => event.stopPropagation(), { signal });
  dialog.querySelector("[data-close]").addEventListener("click", () => dialog.close(), { signal });
  root.addEventListener("desk:changed", ({ detail }) => {
    if (!detail.ok || !detail.form.matches(".proposed form")) return;
    const words = root.querySelector("#said").textContent;
    dialog.close();
    say(words); // again, now that the page behind the dialog is heard by a screen reader
  }, { signal });
  dialog.addEventListener("close", () => {
    listening.abort();
    dialog.remove();
  });
  dialog.showModal();
  return dialog.querySelector("[data-begin]").focus();
}

async function fetchPanel(address) {
  try {
    const answer = await fetch(address, { headers: { "X-Desk": "parts" } });
    return answer.ok && !answer.redirected ? await answer.text() : null;
  } catch {
    return null;
  }
}

function opened(root, html) {
  const dialog = document.createElement("dialog");
  dialog.className = "from-here-dialog";
  dialog.setAttribute("aria-label", "Drills from here");
  dialog.innerHTML = `<button type="button" class="plain" data-close>Close</button>${html}`;
  root.append(dialog);
  return dialog;
}
