// Asks where listening and playback stand while either is at work, and says when one is done.

const ASK_MS = 1500;

/** done(kind) is called once for each stage that becomes done, failed(kind) when one fails. */
export function watch(root, { done, failed }, signal) {
  const stages = [...root.querySelectorAll("[data-stage]")];
  const open = new Set(stages.filter((one) => one.querySelector("progress")).map((one) => one.dataset.stage));

  const ask = async () => {
    try {
      const answer = await fetch(root.dataset.progress, { signal });
      if (answer.ok) show(await answer.json());
    } catch {
      // no connection: ask again later
    }
    if (open.size && !signal.aborted) setTimeout(ask, ASK_MS);
  };

  const show = (standing) => {
    const absence = root.querySelector("[data-part='absence']");
    if (absence && absence.textContent !== standing.absence) {
      absence.textContent = standing.absence ?? "";
      absence.hidden = !standing.absence;
    }
    for (const kind of [...open]) {
      const now = standing[kind];
      if (!now) continue;
      const bar = root.querySelector(`[data-stage="${kind}"] progress`);
      if (bar) bar.value = now.percent ?? bar.value;
      if (now.moving) continue;
      open.delete(kind);
      (now.done ? done : failed)(kind);
    }
  };

  if (open.size) setTimeout(ask, ASK_MS);
}
