// On a copy that is shown because there is no line: what only a line can do cannot be pressed, and
// as soon as the line is back the page itself is shown in its place.

import { gettext } from "../translation.js";
import { forgetCopies } from "./copies.js";

const LOOK_MS = 15_000;
const NEEDS = gettext("This needs a line.");

const notice = document.querySelector("[data-kept-copy]");
const person = notice.dataset.keptCopy;
// What is being recorded, chosen or written here stays; sending goes on by itself.
const isAtWork = () => document.querySelector("clip-recorder, send-clip, [data-touched]") !== null;

// A drill that the address names is chosen here as the studio would have chosen it.
const wanted = new URLSearchParams(location.search).get("assignment");
for (const choice of document.querySelectorAll('select[name="assignment"]')) {
  if (wanted && [...choice.options].some(({ value }) => value === wanted)) choice.value = wanted;
}

for (const form of document.querySelectorAll('form[method="post"]')) {
  if (form.closest("send-clip, practice-note")) continue;
  for (const button of form.querySelectorAll("button")) {
    button.disabled = true;
    button.title = NEEDS;
  }
}

// Nobody can be logged out without a line, but what is kept can go.
notice.querySelector("button").hidden = false;
notice.querySelector("button").addEventListener("click", async () => {
  await forgetCopies();
  location.assign("/");
});

async function look() {
  if (document.hidden || !navigator.onLine) return;
  let answer;
  try {
    answer = await fetch(location.href, { method: "HEAD", headers: { "X-Keep": "1" }, cache: "no-store" });
  } catch {
    return; // still none
  }
  if (answer.status >= 500) return; // a line, and no studio at its end
  if (answer.headers.get("X-Person") !== person || !isAtWork()) location.reload();
  else {
    clearInterval(looking);
    notice.querySelector("[data-words]").textContent = gettext("The line is back.");
    notice.querySelector("a").textContent = gettext("Show the page as it is now");
  }
}

const looking = setInterval(look, LOOK_MS);
addEventListener("pageshow", ({ persisted }) => persisted && location.reload());
addEventListener("online", look);
addEventListener("focus", look);
document.addEventListener("visibilitychange", look);
