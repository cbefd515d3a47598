// Which moment is being heard, and which comes before or after. Pure; times in seconds.
// `moments`: [{playFrom, start, until}], in the order of `start`.

const HOLD_S = 1.5; // a moment stays marked for this long after its end

/** Whether `t` lies between a moment's lead-in and where it fades. */
export function covers({ playFrom, until }, t) {
  return t >= playFrom - 0.05 && t <= until + HOLD_S;
}

/** The index of the moment heard at `t`, or -1: the last one begun that has not faded. */
export function momentAt(moments, t) {
  for (let i = moments.length - 1; i >= 0; i--) {
    if (t >= moments[i].start - 0.05 && t <= moments[i].until + HOLD_S) {
      return i;
    }
  }
  // In the lead-in the moment that is coming is shown already.
  return moments.findIndex(({ playFrom, start }) => t >= playFrom && t < start);
}

/** The next or previous index from the one chosen last, else from the time; stays in range. */
export function neighbour(moments, t, chosen, step) {
  if (chosen >= 0) {
    return Math.min(Math.max(chosen + step, 0), moments.length - 1);
  }
  if (step > 0) {
    const next = moments.findIndex(({ start }) => start > t);
    return next < 0 ? moments.length - 1 : next;
  }
  const before = moments.filter(({ start }) => start < t).length - 1;
  return Math.max(before, 0);
}
