// Says where takes wait that were recorded in this browser and are not sent yet.

import { takesNoted, takesSaid } from "../recording/take-notes.js";

for (const notice of document.querySelectorAll("[data-kept-takes]")) {
  const takes = noted(notice.dataset.keptTakes).filter((at) => at === notice.querySelector("a").pathname);
  notice.hidden = !takes.length;
  notice.querySelector("span").textContent = `${takesSaid(takes.length)}.`;
}

function noted(person) {
  try {
    return takesNoted(person, localStorage);
  } catch {
    return []; // a browser that keeps nothing has none
  }
}
