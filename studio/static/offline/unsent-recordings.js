// The two kinds of recordings that wait on a device, as one kind of thing to send.

import * as drafts from "../pages/drafts.js";
import { newKey } from "../pages/server.js";
import { fileToSend } from "../recording/take-file.js";
import { keepTake, remove, takesOf } from "../recording/takes.js";
import { gettext } from "../translation.js";
import { changeFile, fileOfRow, filesOf, forgetFile } from "./kept-files.js";

/**
 * What waits of a person (and child): [{key, name, bytes, words, print, refused, file(), arrived(),
 * refuse(sentence), remove(), isTake}], chosen files first. A take waits once it was on its way.
 */
export async function waitingOf({ words: whose, recordAt }) {
  const files = (await filesOf(whose)).map((row) => ofFile(row));
  const takes = (await takesOf(whose, recordAt)).filter(({ sending }) => sending);
  return [...files, ...takes.map((take) => ofTake(take, whose))];
}

function ofFile(row) {
  const { key, name, bytes, words, print, refused } = row;
  return {
    ...{ key, name, bytes, words, print, refused },
    file: () => fileOfRow(row),
    arrived: () => forgetFile(row),
    refuse: (sentence) => changeFile(key, { refused: sentence }),
    remove: () => forgetFile(row),
  };
}

function ofTake(take, whose) {
  const { key, bytes, number } = take;
  return {
    ...{ key, bytes, isTake: true, name: gettext("Take %(number)s", { number }), words: take.words ?? drafts.kept(whose) },
    file: () => fileToSend(take),
    arrived: () => {
      drafts.clear(whose);
      return remove(take);
    },
    refuse: () => keepTake(Object.assign(take, { sending: false, key: newKey() })),
    remove: () => remove(take),
  };
}
