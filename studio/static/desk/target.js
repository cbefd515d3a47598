// Hear the target of a double stop, at the pitch that was played. Loaded when first used.

import { Sounding } from "../tones/sounding.js";
import { gainOf, notes, plan } from "../tones/tones.js";
import { gettext } from "../translation.js";

const SECONDS = 3;
const LOUDNESS = 55; // of 100: a moderate level beside the recording
const sound = new Sounding();

/** Let the target of an event sound, or fall silent where one does already. */
export async function hearTarget({ root, player, say, fetch }, event) {
  if (sound.on) {
    sound.stop();
    return;
  }
  player.pause();
  const target = await fetch(root.dataset.target.replace("/0.json", `/${event}.json`));
  if (!target) {
    say(gettext("This double stop has no agreed target to hear."));
    return;
  }
  say(gettext("The target: %(interval)s.", { interval: target.name }));
  await sound.play(notes(plan("both", 2, SECONDS), target.hz), gainOf(LOUDNESS), () => {});
}
