// What waits on this device to be sent goes as soon as a page of the person's is opened with a line.
// Seldom is anything there, so that the page asks for no more than this small module.

import { filesNoted, takesNoted } from "../recording/take-notes.js";

for (const place of document.querySelectorAll("kept-clips")) {
  if (anythingOf(place.dataset.sender)) import("./kept-clips.js");
}

function anythingOf(person) {
  try {
    return filesNoted(person, localStorage).length + takesNoted(person, localStorage).length > 0;
  } catch {
    return false; // a browser that keeps nothing has nothing to send
  }
}
