// The waiting list by keyboard: from clip to clip, take one, let one rest until tomorrow.

const BY = { ArrowDown: 1, ArrowUp: -1 };
const PRESSES = { t: "take", z: "rest" };
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
  const press = PRESSES[event.key];
  const button = press && row?.querySelector(`[data-arrange='${press}']`);
  if (!button || event.repeat) return;
  event.preventDefault();
  button.click();
});
