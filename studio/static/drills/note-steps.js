// Where a key leads from a note: a place among `count` notes, or null where the key means nothing.

const STEPS = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: 1, ArrowUp: -1 };

export function step(key, place, count) {
  if (key === "Home") {
    return 0;
  }
  if (key === "End") {
    return count - 1;
  }
  const by = STEPS[key];
  return by === undefined ? null : Math.min(count - 1, Math.max(0, place + by));
}
