// The canvas of the sound picture: as fine as the screen, in the page's own colours and letters.

const NAMES = ["ink", "quiet", "line", "edge", "sheet"]; // custom properties of the style sheet

/** As many pixels as the screen has for a size in CSS pixels; drawn on in CSS pixels. */
export function fit(canvas, width, height) {
  const ratio = devicePixelRatio || 1;
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  canvas.getContext("2d").setTransform(ratio, 0, 0, ratio, 0, 0);
}

/** Colours by name, and `face`, from the style of an element. */
export function inkOf(element) {
  const style = getComputedStyle(element);
  const named = (name) => style.getPropertyValue(`--${name}`).trim();
  const ink = Object.fromEntries(NAMES.map((name) => [name, named(name)]));
  return { ...ink, face: named("sans") || "sans-serif" };
}
