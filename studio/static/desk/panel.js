// Parts of other pages, fetched and shown over the desk in a dialog.

/** The HTML of a part, or null where it could not be fetched. */
export async function fetchPart(address) {
  try {
    const { listening } = document.querySelector("clip-desk")?.dataset ?? {};
    const headers = { "X-Desk": "parts", ...(listening && { "X-Listening": listening }) };
    const answer = await fetch(address, { headers });
    return answer.ok && !answer.redirected ? await answer.text() : null;
  } catch {
    return null;
  }
}

/** A dialog with some HTML; the desk's keys rest while it is open, and it goes once it is closed. */
export function openPanel(root, { name, label, html }) {
  const dialog = document.createElement("dialog");
  dialog.className = name;
  dialog.setAttribute("aria-label", label);
  dialog.innerHTML = html;
  dialog.addEventListener("keydown", (event) => event.stopPropagation());
  dialog.querySelector("[data-close]").addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => dialog.remove());
  root.append(dialog);
  dialog.showModal();
  return dialog;
}
