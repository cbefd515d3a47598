// A span without a pointer: one key where it begins, one where it ends. Both are shown, in the picture
// and in words.

import { place } from "../figures.js";
import { gettext } from "../translation.js";

/** The span from here, or its start moved to here. */
export function beginSpan({ player, picture, say, keyOf }) {
  const at = player.seconds;
  const { span } = picture;
  if (span && at < span[1]) return picture.select([at, span[1]]);
  picture.select(null);
  picture.begin(at);
  return say(gettext("A span begins at %(place)s. %(key)s ends it.", { place: place(at, 2), key: keyOf("span-end") }));
}

/** The span ends here; a second press moves its end. */
export function endSpan({ player, picture, say, keyOf }) {
  const at = player.seconds;
  const from = picture.begun ?? picture.span?.[0];
  if (from === undefined) return say(gettext("Begin a span first: %(key)s where it begins.", { key: keyOf("span-start") }));
  if (Math.abs(at - from) < 0.01) return say(gettext("A span needs a length: play or step on, then end it."));
  const span = [Math.min(from, at), Math.max(from, at)];
  picture.select(span);
  return say(gettext("From %(start)s to %(end)s.", { start: place(span[0], 2), end: place(span[1], 2) }));
}

/** What is selected, in short: "0:04.25–0:05.10", or "0:04.25–" while it has no end. */
export function spanSaid({ span, begun }) {
  if (span) return span.map((at) => place(at, 2)).join("–");
  return begun === null ? "" : `${place(begun, 2)}–`;
}
