// From mark to mark: which one a review begins with, which one follows a decision, and when the one
// after it begins to sound.

import { loudFirst } from "./quiet.js";
import { show } from "./reveal.js";
import { Whereabouts } from "./whereabouts.js";

const about = (root, mark) => root.querySelector(`[data-about="${CSS.escape(mark)}"]`);

/** On opening: where she was when she left this clip, else the first mark, which nobody has heard. */
export function open({ root, ledger, player, picture, exchange }, signal) {
  const now = () => ({
    mark: ledger.mark?.dataset.about ?? null,
    row: ledger.row?.id ?? null,
    seconds: player.seconds,
    fresh: exchange.state.fresh,
  });
  const { mark, row, seconds, fresh } = new Whereabouts(root.dataset, now, signal).before ?? {};
  if (seconds) player.seek(seconds);
  const before = mark ? about(root, mark) : row && document.getElementById(row);
  const selected = before || firstMark(ledger);
  if (!selected || location.hash) return;
  if (!before && selected.closest("#ledger-fold:not([open])")) return; // folded: nobody has seen it
  ledger.select(selected);
  if (ledger.mark && (fresh || !before)) exchange.arrivedAt(ledger.mark);
  show(selected);
  picture.reveal(Number(selected.dataset.start), Number(selected.dataset.end));
}

/**
 * After a decision the next mark that is open is selected, and what plays stops before it begins. A
 * press on a row's own button leaves focus and page where the hand is: `goes` is false.
 */
export function goOn({ root, ledger, exchange, player, picture }, goes) {
  const mark = "goesOn" in root.dataset ? exchange.nextOpen : null;
  if (!mark) return;
  const next = about(root, mark);
  const { start, end } = next.dataset;
  if (goes) ledger.goTo(next);
  else ledger.select(next);
  exchange.arrivedAt(next);
  if (goes) picture.reveal(Number(start), Number(end));
  if (player.playing) player.stopBefore(Number(start));
}

/** When the first mark after one begins, in seconds; null where none does. */
export function nextBegins(ledger, { dataset: { end } }) {
  const starts = [...ledger.querySelectorAll("[data-about]")].map(({ dataset }) => Number(dataset.start));
  const later = starts.filter((start) => start >= Number(end));
  return later.length ? Math.min(...later) : null;
}

/** The first mark that is open, the quiet ones last, else the first that can be decided. */
function firstMark(ledger) {
  const marks = loudFirst(ledger.querySelectorAll("[data-about]:has([data-decide])"));
  return marks.find(({ dataset }) => dataset.choice === "") ?? marks[0] ?? null;
}
