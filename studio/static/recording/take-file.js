// A take as it is to be sent: its ends cut where that was chosen.

import { cut, kept, placesOf } from "./cutting.js";
import { fileOf } from "./takes.js";

/** The file; null where this browser has lost it. */
export async function fileToSend(take) {
  const whole = await fileOf(take);
  if (!whole || !take.cut) return whole;
  const places = await placesOf(whole);
  const { fromS, toS } = take.cut;
  const stays = kept(places, fromS, toS, take.seconds);
  return stays ? cut(whole, places, stays) : whole;
}
