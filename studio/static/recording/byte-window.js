// Reading a recording in order without holding all of it: a window over a Blob.

const WINDOW_BYTES = 1024 * 1024;

export class ByteWindow {
  #blob;
  #from = 0;
  #bytes = new DataView(new ArrayBuffer(0));

  constructor(blob) {
    this.#blob = blob;
  }

  get size() {
    return this.#blob.size;
  }

  /** A view of `length` bytes from `at`, or of those that there are. */
  async view(at, length) {
    const there = Math.max(0, Math.min(length, this.size - at));
    if (at < this.#from || at + there > this.#from + this.#bytes.byteLength) {
      const until = at + Math.max(length, WINDOW_BYTES);
      this.#bytes = new DataView(await this.#blob.slice(at, until).arrayBuffer());
      this.#from = at;
    }
    return new DataView(this.#bytes.buffer, at - this.#from, there);
  }
}
