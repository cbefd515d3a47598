// One take while it is recorded: each second is kept by the browser as it comes.

import { newKey } from "../pages/server.js";
import { Capture } from "./capture.js";
import { CLIPPED } from "./levels.js";
import { held, keepPiece, keepTake, newTake } from "./takes.js";

export class RunningTake {
  #capture;
  #pieces = [];
  #address;
  #writing = Promise.resolve(true);
  #done;
  #awake = null;

  /** `who`: {whose, person, number, address}. Throws where the browser cannot record so. */
  constructor(stream, kind, pictureBits, { address, ...who }) {
    this.#address = address;
    this.take = newTake({ ...who, kind, key: newKey() });
    this.#capture = new Capture(stream, kind, pictureBits, (piece) => this.#took(piece));
    this.#done = held(this.take);
    this.#stayAwake();
    /** The finished take, all of it kept or with its pieces in hand. */
    this.ended = this.#capture.ended.then(() => this.#finish());
  }

  get seconds() {
    return this.#capture.seconds;
  }

  /** `peak`: the loudest sample since the last call, 0 to 1. */
  heard(peak) {
    if (peak >= CLIPPED) this.take.clipped = true;
  }

  stop() {
    this.#capture.stop();
  }

  #took(piece) {
    const at = this.#pieces.push(piece) - 1;
    const { take } = this;
    Object.assign(take, { seconds: this.seconds, type: this.#capture.type, pieces: at + 1 });
    take.bytes += piece.size;
    // One after another, so that of what is kept no second is missing in the middle.
    this.#writing = this.#writing.then((kept) => kept && keepPiece(take, at, piece, this.#address));
  }

  async #finish() {
    const { take } = this;
    const kept = (await this.#writing) && this.#pieces.length > 0;
    take.recording = false;
    if (kept) await keepTake(take);
    else take.inHand = this.#pieces;
    take.kept = kept;
    this.#done();
    this.#awake?.release().catch(() => {});
    return take;
  }

  /** A screen that goes dark would end the camera. */
  async #stayAwake() {
    this.#awake = (await navigator.wakeLock?.request("screen").catch(() => null)) ?? null;
    if (!this.#capture.running) this.#awake?.release().catch(() => {});
  }
}
