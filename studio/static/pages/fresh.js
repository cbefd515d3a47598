// On every page: shows the present state, and gives back what could not be sent.

import "./unsent.js";

const COOKIE = /(?:^|; )(?:__Host-)?csrf=(\w+)/;

// The page is asked for anew by GET: a reload would send a form twice.
const again = () => location.replace(location.pathname + location.search);

// A page that the browser put aside whole is not shown as it was: whoever saw it may have left.
addEventListener("pagehide", ({ persisted }) => (document.documentElement.hidden = persisted));
addEventListener("pageshow", ({ persisted }) => persisted && again());
// A page that is in the middle of something, such as a recording on its way, may say that it stays.
new BroadcastChannel("studio").addEventListener("message", () => {
  if (dispatchEvent(new Event("studio:left", { cancelable: true }))) again();
});

// Logging in anew in another tab changes the token that every form carries.
addEventListener("submit", ({ target }) => {
  const field = target.querySelector("input[name=csrfmiddlewaretoken]");
  const token = COOKIE.exec(document.cookie)?.[1];
  if (field && token) field.value = token;
}, { capture: true });

const words = document.querySelector(".kept-words");
if (words) import("./refill.js").then(({ refill }) => refill(words)); // seldom: no page waits for it
