"""``python -m studio analyse``: hear one audio or video file and print what was played.

Needs no Django settings. Standard output holds the table, or with ``--json`` the document alone;
everything else goes to standard error. Exit 0 heard, 2 wrong use, 3 the file cannot be heard.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from studio import figures
from studio.analyse_drill import (
    NoDrill,
    drill_table,
    expected_notes,
    place_words,
    read_drill,
    remark,
)
from studio.intonation import Analysis, Options, Policy, analyse
from studio.intonation.estimation.reference_pitch import require_within
from studio.intonation.model.measurement import Event
from studio.intonation.model.score_following import FollowedEvent
from studio.intonation.wording.sentences import unsure_sentence
from studio.notation import Score
from studio.notation.musicxml import Read
from studio.theory import INSTRUMENTS, TUNINGS, Key, Pitch

HEARD, WRONG_USE, CANNOT_BE_HEARD = 0, 2, 3
# A file on one's own machine is not bound by what a studio lets its pupils send.
MAX_BYTES = 20_000_000_000
MAX_DURATION_S = 4 * 3600.0

DESCRIPTION = """\
Listen to one audio or video file and print the double stops and single notes in it, how far
each interval is from its target, and what to change. Nothing is stored or sent anywhere.

Cents: 100 to a semitone; + is wide or sharp, - is narrow or flat; ± is one standard deviation.
"""

EXAMPLES = """\
examples:
  python -m studio analyse lesson.mp4
  python -m studio analyse sixths.m4a --key "Eb major" --tolerance 10
  python -m studio analyse scale.wav --instrument viola --a4 442 --json > scale.json
  python -m studio analyse octaves.mp4 --drill octaves.musicxml

exit codes: 0 heard, 2 wrong use, 3 the file cannot be heard
"""

VERDICT_WORDS = {"in_tune": "in tune", "near": "near", "out": "out", "unsure": "not judged"}
REFERENCE_WORDS = {
    "given": "as given",
    "tone": "from the reference tone",
    "open_strings": "from the open strings",
    "notes": "from all notes",
    "assumed": "assumed; nothing was heard to tell",
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command with its arguments (without the command's name); its exit code."""
    parser = _parser()
    try:
        given = parser.parse_args(argv)
    except SystemExit as stop:  # argparse has said what is wrong, or printed the help
        return int(stop.code or 0)
    if not given.file.is_file():
        return _wrong(f"there is no file {given.file}. Check the path.")
    try:
        drill = read_drill(given.drill, given.instrument) if given.drill else None
        score = drill.score if drill else None
        options, policy = _options(given, score), _policy(given, score)
    except NoDrill as error:
        return _wrong(str(error))
    except ValueError as error:
        return _wrong(f"{error}.")
    return _hear(given.file, options, policy, drill, as_json=given.json)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m studio analyse",
        description=DESCRIPTION,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="an audio or video file")
    parser.add_argument("--json", action="store_true", help="print one JSON document instead")
    parser.add_argument(
        "--a4", type=float, metavar="HZ", help="frequency of A4 (default: found from the playing)"
    )
    parser.add_argument(
        "--reference-tone",
        type=_span,
        metavar="START-END",
        help="seconds of the file where a reference A or the open A sounds alone, such as 0.5-2.5: "
        "A4 is measured there",
    )
    parser.add_argument(
        "--tuning", choices=TUNINGS, default="just", help="what is in tune (default: just)"
    )
    parser.add_argument(
        "--tolerance",
        type=float,
        metavar="CENTS",
        help="how far off is still accepted, 1 to 60 cents, for every interval (default: 15 for "
        "unisons, fourths, fifths and octaves, 18 for the others; a choice, not a standard)",
    )
    parser.add_argument(
        "--instrument",
        choices=sorted(INSTRUMENTS, reverse=True),
        help="default: the drill's, else violin",
    )
    parser.add_argument(
        "--string-length",
        type=float,
        metavar="MM",
        help="vibrating string length (default: 328 for a violin, 370 for a viola)",
    )
    parser.add_argument(
        "--key",
        metavar="KEY",
        help='key, for spelling: "Bb major", "F# minor" (default: the drill\'s or the likeliest)',
    )
    parser.add_argument(
        "--drill",
        type=Path,
        metavar="PAGE",
        help="a MusicXML page (.musicxml, .xml or .mxl) of what is played: its notes are followed, "
        "each with its playings; what was missed or wrong is named",
    )
    return parser


def _span(text: str) -> tuple[float, float]:
    try:
        start, end = (float(part) for part in text.split("-"))
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a span; give start and end in seconds, such as 0.5-2.5"
        ) from None
    return start, end


def _options(given: argparse.Namespace, score: Score | None) -> Options:
    instrument = given.instrument or (score.instrument if score else "violin")
    return Options(
        instrument=instrument,
        string_length_mm=given.string_length,
        a4_hz=given.a4,
        reference_tone_s=given.reference_tone,
    )


def _policy(given: argparse.Namespace, score: Score | None) -> Policy:
    key = given.key or (score.key if score else None)
    return Policy(tuning=given.tuning, tolerance_cents=given.tolerance, key=key)


def _wrong(sentence: str) -> int:
    print(f"analyse: {sentence}", file=sys.stderr)
    return WRONG_USE


def _hear(
    file: Path, options: Options, policy: Policy, drill: Read | None, *, as_json: bool
) -> int:
    from studio.media import Limits, MediaError, hear_file

    try:
        limits = Limits(max_bytes=MAX_BYTES, max_duration_s=MAX_DURATION_S)
        y, sr, _, sound = hear_file(file, limits)
    except MediaError as error:
        print(f"analyse: {error.sentence}", file=sys.stderr)
        return CANNOT_BE_HEARD
    for sentence in (*(note.sentence for note in sound.notes), *(drill.remarks if drill else ())):
        print(f"analyse: {sentence}", file=sys.stderr)
    if options.reference_tone_s:
        try:
            require_within(options.reference_tone_s, len(y) / sr)
        except ValueError as error:
            return _wrong(f"{error}.")
    analysis = analyse(y, sr, options, policy, expected_notes(drill) if drill else None)
    if as_json:
        print(json.dumps(analysis.to_dict(), allow_nan=False, ensure_ascii=False, indent=1))
    else:
        print(table(analysis, file.name))
    return HEARD


def table(analysis: Analysis, name: str) -> str:
    """The analysis as a person reads it."""
    parts = [
        _heading(analysis, name),
        _open_strings(analysis),
        _events(analysis),
        drill_table(analysis),
        _marks(analysis),
    ]
    return "\n\n".join(part for part in parts if part)


def _heading(analysis: Analysis, name: str) -> str:
    measurement = analysis.measurement
    reference = measurement.reference
    doubt = reference.uncertainty_cents
    about = f" {figures.uncertainty(doubt, 1)} cents" if doubt else ""
    key = _key_words(analysis)
    lasts = figures.seconds(measurement.source.duration_s)
    return (
        f"{name}: {lasts}, {measurement.options.instrument}\n"
        f"A4 = {figures.hertz(reference.a4_hz)}{about}, {REFERENCE_WORDS[reference.source]}; "
        f"judged against {analysis.judgement.policy.tuning} intervals{key}"
    )


def _key_words(analysis: Analysis) -> str:
    chosen, likely = analysis.judgement.policy.key, analysis.measurement.key
    if chosen:
        return f"; spelled in {Key.parse(chosen).name}"
    return f"; spelled in {Key.parse(likely).name}, the likeliest key" if likely else ""


def _open_strings(analysis: Analysis) -> str:
    rows = [
        f"  {Pitch.parse(string.pitch).pretty:4} {figures.hertz(string.f0_hz, 2):>11} "
        f"{figures.signed(string.deviation_cents, 1):>6}"
        f"{_plus_minus(string.uncertainty_cents)} cents, "
        f"heard for {figures.seconds(string.heard_s)}"
        for string in analysis.measurement.open_strings
    ]
    return "\n".join(["Open strings", *rows]) if rows else ""


def _plus_minus(uncertainty: float | None) -> str:
    return f" {figures.uncertainty(uncertainty, 1):<6}" if uncertainty is not None else "   ?   "


def _events(analysis: Analysis) -> str:
    events = analysis.measurement.events
    if not events:
        return "No notes were heard."
    following = analysis.judgement.following
    head = f"{'time':>8}  {'notes':14} {'interval':24} {'cents off':>14}  verdict"
    if following is None:
        rows = [row for event in events for row in _event_rows(event, analysis)]
        return "\n".join([head, *rows])
    lines = [f"{'bar note':10}{head}"]
    placed = {row.event: row for row in following.events}
    for event in events:
        where = place_words(placed[event.id], following)
        first, *rest = _event_rows(event, analysis, placed[event.id])
        lines += [f"{where:10}{first}", *(f"{'':10}{row}" for row in rest)]
    return "\n".join(lines)


def _event_rows(
    event: Event, analysis: Analysis, followed: FollowedEvent | None = None
) -> list[str]:
    time = figures.place(event.start_s, 1)
    said = remark(followed) if followed else ""
    judged = [row for row in analysis.judgement.intervals if row.event == event.id]
    if not judged:
        notes = " ".join(Pitch.parse(voice.pitch).pretty for voice in event.voices)
        return [f"{time:>8}  {notes:14} {said}".rstrip()]
    rows = []
    for place, row in enumerate(judged):
        heard = next(i for i in event.intervals if (i.low, i.high) == (row.low, row.high))
        notes = f"{Pitch.parse(row.low_pitch).pretty} {Pitch.parse(row.high_pitch).pretty}"
        off = figures.signed(row.deviation_cents, 1)
        doubt = _plus_minus(heard.uncertainty_cents)
        verdict = VERDICT_WORDS[row.verdict]
        if row.unsure_reason:
            verdict += f": {unsure_sentence(row.unsure_reason)}"
        if said:
            verdict = f"{said}; {verdict}" if followed and followed.state == "extra" else said
        shown = time if place == 0 else ""
        rows.append(f"{shown:>8}  {notes:14} {row.name:24} {off:>7}{doubt}  {verdict}".rstrip())
    return rows


def _marks(analysis: Analysis) -> str:
    marks = analysis.judgement.marks
    if not marks:
        return "Nothing to mark." if analysis.judgement.intervals else ""
    return "\n".join(["What to change", *(f"  {mark.sentence}" for mark in marks)])
