// The chosen recording while it waits for a line: kept on this device from the first time that the
// line is not there until it has arrived, with what is typed in the meantime.

import { megabytes } from "../figures.js";
import { gettext } from "../translation.js";
import { changeFile, forgetFile, keepFile } from "./kept-files.js";

export class HeldFile {
  #row;
  #held = null; // a promise of whether it is kept

  isKept = false;

  /** `row`: {key, whose, person, at, print}. */
  constructor(row) {
    this.#row = row;
  }

  /** Keep it, once; the sentence that says where it is now. */
  async hold(file, words) {
    this.#held ??= keepFile(file, { ...this.#row, words });
    this.isKept = await this.#held;
    const size = megabytes(file.size);
    return this.isKept
      ? gettext("It is kept on this device and takes %(size)s of it. You may close this page: it goes on when you "
        + "open the studio with a line.", { size })
      : gettext("This device has no room to keep it (%(size)s). Leave this page open until it has arrived, or "
        + "choose it again later.", { size });
  }

  /** True once the words are kept with it. */
  async say(words) {
    return Boolean(await this.#held) && (await changeFile(this.#row.key, { words })) !== undefined;
  }

  async forget() {
    if (await this.#held) await forgetFile(this.#row);
    this.#held = null;
    this.isKept = false;
  }
}
