"""How good the listening is: ``deploy/measure intonation [--quick] [--seed N]``.

Real playing comes first (``real-playing/``): whole movements by two players, with what their
scores say sounds when; nothing is told to the listener. Of what the listening learns from one
player, nothing is used when that player is judged. Then the sets (everything is made from the seed;
other seeds make other clips)

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
* Of real playing, labels say which notes sound and roughly when, never how many cents. A labelled
  **pair** is *found* when events of exactly its two notes, each within 60 cents of the score's note
  at the label's A4, cover at least 0.15 s of its span, or half of it where the span is shorter than
  0.3 s. Pairs count whose ``check`` is ok or likely; octave_unverified ones among octaves alone,
  which are told by themselves, as are fifths. *Both struck*: both notes begin there; *one held
  over*: the other began before, and has often stopped. Its *95 % interval* is Wilson's. *Unsure*:
  found, and its interval is said not to be measurable. The labels allow about 93 %.
* **false**: the share of the time scored as a single line in which two or more notes are reported.
* Frame by frame, every 10 ms within pairs of which both notes are struck: *found*, both pitches are
  reported, whatever else; *exactly*, and no others. *False*: the share of the single line's frames
  with two or more pitches.
* For all listeners on real playing: one that answers in notes or frames reports an event wherever
  its pitches stay the same. One with thresholds is heard at several, and *at ours* is what it finds
  at our false share, on straight lines between them and nothing found, nothing false; one that has
  none, likewise from its one point.
* **single notes** of real playing that nothing rings beside (``check`` is ok) and of which one note
  was heard for half the span: our pitch less that of an independent reader
  (``ear/phase_reader.py``) from 0.2 s after the labelled onset to 0.05 s before the end; *gross*:
  more than 50 cents. *in 1 sd, in 2 sd*: how often one and two stated deviations cover it, of notes
  that the reader is sure of to a cent; *joined*: of all, with the reader's own standard error.
* **marks** on a single-line movement: any is wrong.
* **x real time**: seconds of sound for each second of processor time, one core, after warm-up.

The last line printed is one JSON object with all figures. ``--ours`` leaves the reference
libraries out. ``--real`` hears real playing alone. ``--share`` hears fewer of the made clips, and
lets the libraries hear no more of them than in the quick run, which hears one real movement by ours
alone, as it is. ``--save`` keeps the figures of a full run in ``results/``, DEVELOPERS.md and
README.md, and with them how much each varies by chance, which the regression test allows for; with
``--real``, those of real playing take their place among the ones kept.
"""

import argparse
import json
import signal
import sys
import time
from pathlib import Path

from tests.benchmarks.ear import docs, figures, table, targets
from tests.benchmarks.ear.cost import Cost
from tests.benchmarks.ear.regression import keep_noise, keep_noise_of_real
from tests.benchmarks.ear.run import Scores, run

RESULTS = Path(__file__).with_name("results") / "intonation.json"
SEED = 20_261
LONG_MINUTES = 60.0
QUICK_MINUTES = 4.0


def main() -> int:
    asked = _arguments()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that the children end too
    how_much = 0.0 if asked.quick else asked.share
    if asked.real:
        found, scores = measure_real(asked.seed, how_much, ours=asked.ours)
    else:
        found, scores = measure(asked.seed, how_much, ours=asked.ours)
    print(table.report(found))
    for why in scores.missing:
        print(f"left out: {why}")
    print(
        f"{found['date']}, {found['machine']}, seed {asked.seed}, {found['seconds']} s", flush=True
    )
    if asked.save:
        keep(found)
        print((keep_noise_of_real if asked.real else keep_noise)(scores, asked.seed))
    print(json.dumps(found))
    return 0


def _arguments() -> argparse.Namespace:
    arguments = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    arguments.add_argument("--quick", action="store_true", help="a small share, under 2 minutes")
    arguments.add_argument("--seed", type=int, default=SEED, help="default: %(default)s")
    arguments.add_argument("--real", action="store_true", help="real playing alone")
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


def measure_real(seed: int, share: float, *, ours: bool) -> tuple[figures.Figures, Scores]:
    """Hear real playing alone (0: the quick movement), and sum it up."""
    begun = time.monotonic()
    scores = run(seed, share, with_others=not ours, made=False)
    found = {"real": figures.real_figures(scores)}
    seconds = round(time.monotonic() - begun)
    return figures.finish(found, seed=seed, share=share, seconds=seconds), scores


def keep(found: figures.Figures) -> None:
    """Store the figures and show them; real playing alone takes its place among those kept."""
    if "groups" not in found:
        kept = json.loads(RESULTS.read_text())
        found = {**kept, "real": found["real"]}
        found["targets"] = targets.reached(found)
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(json.dumps(found, indent=1) + "\n")
    docs.write(found)


if __name__ == "__main__":
    sys.exit(main())
