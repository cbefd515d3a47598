// On every page: shows the present state, and gives back what could not be sent.

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

// What was pressed at the desk, recorded or noted, and is not sent: seldom there, so that no page
// waits.
const isUnsent = () => {
  try {
    return Object.keys(localStorage).some((name) => /^(desk-acts|studio:take|studio:file|studio:practice):/.test(name));
  } catch {
    return false; // a browser that keeps nothing loses nothing
  }
};
let looks = ""; // "" not yet, "comes", "here": from then on it sees log-outs itself
addEventListener("submit", (event) => {
  if (looks === "here" || !event.target.matches("[data-log-out]") || !isUnsent()) return;
  event.preventDefault();
  if (looks) return;
  looks = "comes";
  import("./unsent.js").then(() => {
    looks = "here";
    event.target.requestSubmit();
  }).catch(() => (looks = "")); // no line: nobody is logged out without one either
});

const words = document.querySelector(".kept-words");
if (words) import("./refill.js").then(({ refill }) => refill(words)); // seldom: no page waits for it
