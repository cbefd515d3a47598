// One reply, recorded: devices asked for, begun, and made a file at its end.

import { Capture, endingOf, letGo, Listener, SOUND, streamOf } from "../recording/capture.js";

const PICTURE = { facingMode: "user", width: { ideal: 1280 }, height: { ideal: 720 } };
const PICTURE_BITS = 2_000_000; // a second
const KEPT_PIECES = 5; // so many pieces on, what there is so far is worth keeping again

export class Recording {
  #stream;
  #capture;
  #pieces = [];
  #listener;

  /** Ask for microphone (and camera), and begin. Rejects as getUserMedia does. */
  static async begin(kind) {
    const stream = await streamOf({ audio: SOUND, video: kind === "video" ? PICTURE : false });
    try {
      return new Recording(kind, stream);
    } catch (error) {
      letGo(stream);
      throw error;
    }
  }

  constructor(kind, stream) {
    this.kind = kind;
    this.#stream = stream;
    this.#capture = new Capture(stream, kind, PICTURE_BITS, (piece) => this.#take(piece));
    this.#listener = new Listener(stream);
    this.ended = this.#capture.ended.then(() => this.#made());
  }

  /** Called with the file so far, now and then, so that a crash does not lose all of it. */
  soFar = () => {};

  get stream() {
    return this.#stream;
  }

  get seconds() {
    return this.#capture.seconds;
  }

  /** The loudest sample just now, 0 to 1. */
  get level() {
    return this.#listener.level;
  }

  /** `ended` then gives the file. Microphone and camera are let go at once. */
  stop() {
    this.#capture.stop();
    letGo(this.#stream);
    this.#listener.close();
  }

  #take(piece) {
    this.#pieces.push(piece);
    if (this.#capture.running && this.#pieces.length % KEPT_PIECES === 0) this.soFar(this.#made());
  }

  #made() {
    const { type } = this.#capture;
    return new File(this.#pieces, `${this.kind}-reply.${endingOf(type)}`, { type });
  }
}
