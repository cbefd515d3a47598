// Marks that are proposed quietly: they stand where they stood, lighter, and come after the others.

export const isQuiet = ({ dataset }) => "quiet" in dataset;

/** Whether a mark is among what was found: a quiet one once it is kept. */
export const counts = (mark) => !isQuiet(mark) || mark.dataset.choice === "kept";

/** Marks in the order in which keys go from one to the next. */
export function loudFirst(marks) {
  const all = [...marks];
  return [...all.filter((mark) => !isQuiet(mark)), ...all.filter(isQuiet)];
}
