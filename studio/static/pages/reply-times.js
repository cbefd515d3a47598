// Which reply is due while a clip plays. Pure; times in seconds.

const STEP_S = 1.5; // a player tells its time at least this often; a longer step is a jump

/**
 * The index of the moment whose reply is due between two times of a playing clip, or -1.
 * `moments`: [{start, replies}] in the order of `start`.
 */
export function replyDue(moments, before, now) {
  if (now <= before || now - before > STEP_S) {
    return -1;
  }
  return moments.findIndex(({ start, replies }) => replies && start >= before && start < now);
}
