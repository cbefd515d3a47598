"""A return's moments in columns, to be found by words, interval, drill and kind.

Everything is read out of the frozen snapshot, so a row says what the snapshot says, and nothing
that is edited later can change it.
"""

from collections.abc import Mapping
from functools import lru_cache

from studio.notation.pairs import size_of, word_of_size
from studio.review.models import Return, ReturnedMoment
from studio.theory import Interval, Pitch

LONGEST_LIST = 120  # letters of the words for all that was heard in a clip


def keep(returned: Return) -> None:
    """Write the rows of a return."""
    ReturnedMoment.objects.bulk_create(rows_of(returned))


def rows_of(returned: Return) -> list[ReturnedMoment]:
    """The rows of a return, not saved."""
    review = returned.review
    drill = review.answers.version.drill_id if review.answers else 0
    return [
        ReturnedMoment(
            returned=returned,
            enrolment_id=review.clip.enrolment_id,
            at=returned.returned_at,
            drill=drill,
            **columns,
        )
        for columns in columns_of(returned.snapshot)
    ]


def columns_of(snapshot: Mapping) -> list[dict]:
    """What the snapshot alone says of each of its moments; nothing is asked of its other parts."""
    return [
        {"number": number, **_said(moment), **_about(moment)}
        for number, moment in enumerate(snapshot["moments"])
    ]


def intervals_in(snapshot: Mapping) -> str:
    """Words for all double stops of a returned clip, in the order of the alphabet.

    >>> intervals_in({"stops": [{"name": "octave D5–D6"}, {"name": "octave E5–E6"}]})
    'octaves'
    """
    found = {named(stop["name"])[0] for stop in snapshot.get("stops") or ()} - {""}
    words = sorted(found)
    while len(" ".join(words)) > LONGEST_LIST:
        words.pop()
    return " ".join(words)


def _said(moment: Mapping) -> dict:
    is_mark = moment["type"] == "mark"
    return {
        "kind": ReturnedMoment.MARK if is_mark else moment["kind"],
        "start_s": moment["start_s"],
        "text": moment["text"],
        "guardian_text": moment.get("guardian_text", ""),
        "child_text": moment.get("child_text", ""),
    }


def _about(moment: Mapping) -> dict:
    """What sounded there: as a mark names it, or as it was heard at a comment's moment."""
    params = moment.get("params") or {}
    word, low, high = named((moment.get("heard") or {}).get("name", ""))
    if params.get("interval"):
        word = _word(params["interval"]) or word
    return {"interval": word, "low": low, "high": high}


@lru_cache(maxsize=4096)
def named(name: str) -> tuple[str, int | None, int | None]:
    """The word and the MIDI numbers of what ``octave D5–D6`` names; of a single note none.

    >>> named("octave D5–D6"), named("D5"), named("")
    (('octaves', 74, 86), ('', None, None), ('', None, None))
    """
    low, dash, high = name.rpartition(" ")[2].partition("–")
    if not dash:
        return "", None, None
    try:
        lower, higher = Pitch.parse(low), Pitch.parse(high)
    except ValueError:
        return "", None, None
    size = size_of(lower, higher)
    return (word_of_size(size) or "" if size else ""), lower.midi, higher.midi


def _word(short: str) -> str:
    try:
        return word_of_size(Interval.parse(short)) or ""
    except ValueError:
        return ""
