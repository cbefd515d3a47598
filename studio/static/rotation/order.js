// Orders as plain values: where a pointer or a key takes an item of a list. Places count from 0.

// The list with the item of one place put at another.
export function moved(items, from, to) {
  const rest = items.toSpliced(from, 1);
  return rest.toSpliced(to, 0, items[from]);
}

// The place in a list whose rows reach down to `bottoms` (px, from top to bottom) that lies at `y`.
export function placeAt(y, bottoms) {
  const place = bottoms.findIndex((bottom) => y < bottom);
  return place < 0 ? bottoms.length - 1 : place;
}

// Where a key takes the item at `place` among `count`, or null where the key means nothing.
export function placeByKey(key, place, count) {
  const to = { ArrowUp: place - 1, ArrowDown: place + 1, Home: 0, End: count - 1 }[key];
  return to === undefined ? null : Math.min(count - 1, Math.max(0, to));
}
