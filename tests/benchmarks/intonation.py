"""How good the listening is: ``deploy/measure intonation [--quick] [--seed N]``.

Sets (everything is made from the seed; other seeds make other clips)

a. *made to order*: double stops added up from partials, in a room, with noise;
b. *recorded notes*: bowed notes resampled to known pitches and mixed; also with the vibrato of
   their player;
c. *as phones send it*: half of a, half of b, through codecs, gain control, clipping, noise, a
   narrow band; each change has the same playing, so that it can be compared with the clean one;
d. *vibrato* of one hand on both notes, plus or minus 5 to 30 cents;
e. *whole clips*: scales in octaves, sixths, thirds, tenths and fifths, broken and together, with
   repeats, hesitations and pauses, violin and viola, and the marks that a teacher expects;
f. *no double stop*: single lines, talk, piano, metronome, noise, silence.

Definitions (fixed; a change of one makes earlier figures incomparable)

* **true event**: one or more notes that sound together, from onset to offset of the bow; its
  pitches are the smooth-weighted (cos^2 over +-0.4 s) means about the middle of what follows
  the first 0.2 s.
* **found** (right): the heard event that overlaps the true one most overlaps at least half of it,
  has as many voices, and each voice is within 50 cents of the true one. **wrong**: as many voices,
  other pitches; **fewer**, **more** voices; **missed**: no heard event overlaps half of it.
* **error**: measured less true size of the interval, absolute, over the events that were found and
  measured. **unsure**: found, and said not to be measurable: counted, not in the errors.
* **in 1 sd, in 2 sd**: how often one and two stated standard deviations cover the error.
* **onset, offset**: how often that edge of a found event is within 50 ms of the true one.
* **mark**: every run whose last playing is beyond the tolerance by 7 cents or more expects one, of
  the right sign. A mark meets it when the codes agree and their spans overlap by half the shorter;
  each run can be met once, whatever else is marked counts against precision. Nothing is told of
  what is played but the pupil's level. **span**: both edges of met marks, within 50 ms of the last
  playing's.
* **false pair**: during one true note, two voices reported for over 0.15 s.
* For all listeners alike, **the same clips**: the pitches they give every 10 ms within the inner
  80 % of a true event. *found*: both true pitches within 50 cents in at least half of those
  frames, whatever else is there; *exactly*: and no more pitches than that in the median frame.
  *error*: the median over those frames. mir_eval's multipitch precision, recall and accuracy
  (within half a semitone), note F (onset within 50 ms, pitch within 50 cents) and onset F.
* **x real time**: seconds of sound for each second of processor time, one core, after warm-up.

The last line printed is one JSON object with all figures. ``--ours`` leaves the reference
libraries out. ``--share`` hears fewer clips, and lets the libraries hear no more than in the quick
run. ``--save`` keeps the figures of a full run in ``results/`` and in DEVELOPERS.md, and
with them how much each varies by chance, which the regression test allows for.
"""

import argparse
import json
import signal
import sys
import time
from pathlib import Path

from tests.benchmarks.ear import docs, figures, table
from tests.benchmarks.ear.cost import Cost
from tests.benchmarks.ear.regression import keep_noise
from tests.benchmarks.ear.run import Scores, run

RESULTS = Path(__file__).with_name("results") / "intonation.json"
SEED = 20_261
LONG_MINUTES = 60.0
QUICK_MINUTES = 4.0


def main() -> int:
    asked = _arguments()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that the children end too
    how_much = 0.0 if asked.quick else asked.share
    found, scores = measure(asked.seed, how_much, ours=asked.ours)
    print(table.report(found))
    for why in found["missing"]:
        print(f"left out: {why}")
    print(
        f"{found['date']}, {found['machine']}, seed {asked.seed}, {found['seconds']} s", flush=True
    )
    if asked.save:
        RESULTS.parent.mkdir(exist_ok=True)
        RESULTS.write_text(json.dumps(found, indent=1) + "\n")
        docs.write(found)
        print(keep_noise(scores, asked.seed))
    print(json.dumps(found))
    return 0


def _arguments() -> argparse.Namespace:
    arguments = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    arguments.add_argument("--quick", action="store_true", help="a small share, under 2 minutes")
    arguments.add_argument("--seed", type=int, default=SEED, help="default: %(default)s")
    arguments.add_argument("--ours", action="store_true", help="without the reference libraries")
    arguments.add_argument(
        "--share", type=float, default=1.0, help="of the clips, on a busy machine"
    )
    arguments.add_argument("--save", action="store_true", help="keep the figures of a full run")
    asked = arguments.parse_args()
    if not 0.1 <= asked.share <= 1.0:
        arguments.error(f"--share is {asked.share}; use 0.1 to 1, such as 0.5")
    if asked.save and (asked.quick or asked.ours):
        arguments.error(
            "--save keeps a full run beside the reference libraries; leave the rest out"
        )
    return asked


def measure(seed: int, share: float, *, ours: bool) -> tuple[figures.Figures, Scores]:
    """Hear everything, or a share of the clips (0: the quick ones), and sum it up."""
    begun, quick = time.monotonic(), share == 0.0
    with Cost(seed, QUICK_MINUTES if quick else LONG_MINUTES) as cost:
        scores = run(seed, share, with_others=not ours)
        found = figures.document(scores)
        found["cost"] = cost.figures()
    if not quick:
        found["cost"]["peak_mb_60"] = found["cost"]["peak_mb"]
    seconds = round(time.monotonic() - begun)
    return figures.finish(found, seed=seed, share=share, seconds=seconds), scores


if __name__ == "__main__":
    sys.exit(main())
