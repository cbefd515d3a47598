// The clip and the replies take turns: whatever begins to play pauses the others.

/** `clip`: the clip's own media element, or null where there is none to play. */
export function takeTurns(root, clip, signal) {
  const begun = ({ target }) => {
    if (target !== clip && !target.matches("[data-reply]")) return;
    for (const other of [clip, ...root.querySelectorAll("[data-reply]")]) {
      if (other && other !== target && !other.paused) other.pause();
    }
  };
  root.addEventListener("play", begun, { capture: true, signal }); // "play" does not bubble
}
