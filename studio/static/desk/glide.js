// Moves a view to another one in a short, even glide; at once where motion is to be reduced.

const GLIDE_MS = 220;
const CALM = matchMedia("(prefers-reduced-motion: reduce)");

/** Calls show(view) at each step; the returned function stops it. */
export function glide(from, target, show, done) {
  if (CALM.matches) {
    show(target);
    done();
    return () => {};
  }
  const start = performance.now();
  let running = true;
  const step = (now) => {
    if (!running) return;
    const t = Math.min((now - start) / GLIDE_MS, 1);
    const eased = t * (2 - t);
    const mix = (a, b) => a + (b - a) * eased;
    show(Object.freeze({ ...target, from: mix(from.from, target.from), to: mix(from.to, target.to) }));
    if (t < 1) requestAnimationFrame(step);
    else done();
  };
  requestAnimationFrame(step);
  return () => {
    running = false;
  };
}
