// The phrase shelf in a dialog: the teacher's phrases, filled in for the moment that the comment is
// about. Loaded when first used. Digits choose the first nine, Esc closes.

const GAP = "…";

/** Offer the phrases for a moment (and its mark's number, or null). */
export async function offerPhrases({ root, composer, say }, atS, mark) {
  const link = root.querySelector("[data-phrases]");
  if (!link) return;
  const query = new URLSearchParams({ at_s: atS.toFixed(2), ...(mark === null ? {} : { mark }) });
  let html = "";
  try {
    const answer = await fetch(`${link.href}?${query}`, { headers: { "X-Desk": "parts" } });
    if (!answer.ok || answer.redirected) throw new Error(answer.status);
    html = await answer.text();
  } catch {
    say("The phrases could not be fetched. What you wrote is kept; try again.");
    return;
  }
  show(root, html, composer);
}

function show(root, html, composer) {
  const dialog = document.createElement("dialog");
  dialog.className = "phrases-dialog";
  dialog.setAttribute("aria-label", "Phrases");
  dialog.innerHTML = `<h2>Phrases</h2>${html}<button type="button" class="plain">Close</button>`;
  const links = [...dialog.querySelectorAll("ol a")];
  for (const link of links) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      dialog.close();
      composer.insert(link.textContent, link.dataset.kind, GAP);
    });
  }
  const own = dialog.querySelector("[data-own-phrases]");
  if (own) own.href += keptWords(composer.text);
  dialog.querySelector("button").addEventListener("click", () => dialog.close());
  dialog.addEventListener("keydown", (event) => choose(event, links));
  dialog.addEventListener("close", () => dialog.remove());
  root.append(dialog);
  dialog.showModal();
  links[0]?.focus();
}

/** Digits press; arrows walk. */
function choose(event, links) {
  const digit = Number(event.key);
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  event.stopPropagation(); // the desk's keys rest
  if (digit >= 1 && digit <= links.length) links[digit - 1].click();
  else if (step) links[links.indexOf(document.activeElement) + step]?.focus();
  else return;
  event.preventDefault();
}

/** What stands in the comment may be put on the shelf. */
function keptWords(text) {
  return text ? `?${new URLSearchParams({ text })}` : "";
}
