// One span of a recording, heard from its beginning to its end and no further.

const READY = 1; // HAVE_METADATA: a seek is possible from here on
export const BEFORE_S = 0.15; // so that the bow's beginning is heard
export const AFTER_S = 0.1;
const SOON_S = 0.4; // a timer is closer than "timeupdate", which comes four times a second
const ELSEWHERE_S = 1; // somebody has gone to another place of the recording

/**
 * Play `from` to `until` seconds of a media element. Whether its end was reached: not if it was
 * paused before, taken elsewhere, refused by the browser, or `signal` said to stop.
 */
export async function playSpan(media, [from, until], signal) {
  const start = Math.max(0, from - BEFORE_S);
  // A phone lets a recording begin within the press alone, not once its beginning has come.
  const begun = media.readyState < READY ? media.play() : null;
  begun?.catch(() => {}); // told below, where it is still wanted
  if (!(await ready(media, signal, start))) return false;
  const heard = whole(media, start, until + AFTER_S, signal);
  try {
    await (begun ?? media.play());
  } catch {
    if (!signal.aborted) media.dispatchEvent(new Event("pause")); // it stands there paused
  }
  return heard;
}

/** Stand at `start`, once the recording has a length; false where it has none. */
function ready(media, signal, start) {
  const there = () => {
    media.currentTime = start;
    return !signal.aborted;
  };
  if (media.readyState >= READY) return Promise.resolve(there());
  return new Promise((done) => {
    media.addEventListener("loadedmetadata", () => done(there()), { once: true, signal });
    media.addEventListener("error", () => done(false), { once: true, signal });
    signal.addEventListener("abort", () => done(false), { once: true });
  });
}

function whole(media, start, end, stopped) {
  const listening = new AbortController();
  const { signal } = listening;
  let timer = 0;
  return new Promise((done) => {
    const finish = (reached) => {
      clearTimeout(timer);
      listening.abort();
      done(reached);
    };
    const follow = () => {
      const { currentTime: t, playbackRate, seeking } = media;
      const left = (end - t) / playbackRate;
      clearTimeout(timer);
      if (seeking) return;
      if (t < start - ELSEWHERE_S || t > end + ELSEWHERE_S) finish(false);
      else if (left <= 0.01) {
        finish(true);
        media.pause();
      } else if (left < SOON_S) timer = setTimeout(follow, 1000 * left);
    };
    for (const type of ["timeupdate", "playing", "ratechange"]) {
      media.addEventListener(type, follow, { signal });
    }
    // One that was asked for before this began is told late: by then it plays again.
    media.addEventListener("pause", () => media.paused && finish(media.ended), { signal });
    stopped.addEventListener("abort", () => { finish(false); media.pause(); }, { signal });
  });
}
