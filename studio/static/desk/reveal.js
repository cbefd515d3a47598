// Brings a row into sight: gently where it is near, at once where it is far.

const CALM = matchMedia("(prefers-reduced-motion: reduce)");
const SETTLE_FRAMES = 3;

export function reveal(element) {
  const { top, bottom } = element.getBoundingClientRect();
  const far = bottom < -innerHeight || top > 2 * innerHeight;
  if (far) return show(element);
  return element.scrollIntoView({ block: "nearest", behavior: CALM.matches ? "auto" : "smooth" });
}

/** At once. Rows on the way are as high as guessed until they are drawn; then the place is another. */
export function show(element, frames = SETTLE_FRAMES) {
  if (!frames) return;
  element.scrollIntoView({ block: "nearest", behavior: "auto" });
  requestAnimationFrame(() => show(element, frames - 1));
}
