// The waiting list by keyboard: from clip to clip, take one, let one rest until tomorrow.

const BY = { ArrowDown: 1, ArrowUp: -1 };
const PRESSES = { t: "take", z: "rest" };
const HELD = "waiting:held"; // the clip to go on from, after a press
const TEXT = "input:not([type='hidden']), select, textarea, [contenteditable]";

addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.target.matches(TEXT)) return;
  const clips = [...document.querySelectorAll(".wait a.stretch")];
  const row = event.target.closest(".wait");
  if (event.key in BY && clips.length) {
    const at = row ? clips.indexOf(row.querySelector("a.stretch")) + BY[event.key] : 0;
    const next = clips[Math.min(Math.max(at, 0), clips.length - 1)];
    event.preventDefault();
    next.focus();
    return;
  }
  if (event.key === "l") return void document.querySelector("[data-go='batch']")?.click();
  const press = PRESSES[event.key];
  const button = press && row?.querySelector(`[data-arrange='${press}']`);
  if (!button || event.repeat) return;
  event.preventDefault();
  const next = press === "rest" ? (neighbour(clips, row) ?? null) : row.querySelector("a.stretch");
  sessionStorage.setItem(HELD, JSON.stringify({ id: next?.id ?? "", top: scrollY }));
  button.click();
});

/** The clip after a row that is about to go, else the one before. */
function neighbour(clips, row) {
  const at = clips.indexOf(row.querySelector("a.stretch"));
  return clips[at + 1] ?? clips[at - 1];
}

// The list is made anew by each press: whoever works by keys goes on from where they were.
const held = JSON.parse(sessionStorage.getItem(HELD) ?? "null");
sessionStorage.removeItem(HELD);
if (held) {
  scrollTo(0, held.top);
  document.getElementById(held.id)?.focus({ preventScroll: true });
}
