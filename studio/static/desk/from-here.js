// Drills that treat a place of the clip, in a dialog: what the server proposes for it, each to be
// seen and set. Loaded when first used. Its forms are sent as all forms of the desk; once one is
// set the dialog closes, and the focus is where it was.

import { gettext } from "../translation.js";
import "../drills/drill-sheet.js";
import { fetchPart, openPanel } from "./panel.js";

const FAILED = gettext("The drills could not be fetched. Try again when the connection is back.");

/** Show what is proposed at an address of the page of drills from here. */
export async function offerDrills({ root, say }, address) {
  const part = await fetchPart(address);
  if (part === null) return say(FAILED);
  const html = `<button type="button" class="plain" data-close>${gettext("Close")}</button>${part}`;
  const dialog = openPanel(root, { name: "from-here-dialog", label: gettext("Drills from here"), html });
  const listening = new AbortController();
  root.addEventListener("desk:changed", ({ detail }) => {
    if (!detail.ok || detail.act.kind !== "from-here") return;
    const words = root.querySelector("#said").textContent;
    dialog.close();
    say(words); // again, now that the page behind the dialog is heard by a screen reader
  }, { signal: listening.signal });
  dialog.addEventListener("close", () => listening.abort());
  return dialog.querySelector("[data-begin]").focus();
}
