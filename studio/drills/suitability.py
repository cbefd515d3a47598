"""Whether a drill's page suits what a pupil plays, said before it is set, with what can be done."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from django import forms
from django.utils.translation import gettext as _

from studio.accounts.models import Enrolment
from studio.accounts.models import Instrument as PupilsInstrument
from studio.notation import Request, Score
from studio.theory import Instrument, instrument_named
from studio.theory.instruments import MAX_STOP_SEMITONES

from .form_values import query_of
from .models import DrillVersion
from .stretches import player_of

ALL_THE_SAME = "all_the_same"


@dataclass(frozen=True, slots=True)
class Misfit:
    """Why a page does not suit a pupil's instrument.

    ``remake`` fills the form to make drills with the same for that instrument; empty for a page
    that was not made to order.
    """

    name: str
    plays: str
    sentences: tuple[str, ...]
    remake: str = ""


def misfit_of(
    version: DrillVersion, enrolment: Enrolment, plays: PupilsInstrument | None = None
) -> Misfit | None:
    """What stands against setting a drill for a pupil; ``None`` where nothing does.

    Nothing is said of a drill in words, nor for a pupil whose instrument is not known. ``plays`` is
    what the pupil plays, where that was asked for before.
    """
    score = version.page
    if score is None:
        return None
    own = plays or enrolment.instrument()
    if own is None:
        return None
    sentences = tuple(_against(version.title, score, enrolment.pupil.name, own.kind))
    if not sentences:
        return None
    return Misfit(
        f"{version.pk}-{enrolment.pk}-{own.kind}",
        own.kind,
        sentences,
        _remake(version, enrolment, own.kind),
    )


def _against(title: str, score: Score, pupil: str, kind: str) -> Iterator[str]:
    plays = instrument_named(kind)
    if score.instrument != kind:
        yield (
            _(
                "“%(title)s” is for the %(instrument)s, and %(pupil)s plays the %(kind)s: "
                "its strings and fingers do not fit."
            )
            % {"title": title, "instrument": score.instrument, "pupil": pupil, "kind": kind}
        )
        yield from _missing_strings(score, plays)
    else:
        yield from _no_open_string(score, plays)
    yield from _out_of_range(score, plays)


def _missing_strings(score: Score, plays: Instrument) -> Iterator[str]:
    """A string that the page asks for and the instrument has not, with the first bar that does."""
    strings, told = score.player.open_strings, set(plays.open_strings)
    for item in score.written:
        for number in item.strings:
            string = strings[len(strings) - number] if number else None
            if string is not None and string not in told:
                told.add(string)
                where = _("Bar %(bar)s is on the %(step)s string") % {
                    "bar": item.bar,
                    "step": string.step,
                }
                yield _("%(where)s, which the %(plays)s has not.") % {
                    "where": where,
                    "plays": plays.name,
                }


def _no_open_string(score: Score, plays: Instrument) -> Iterator[str]:
    for item in score.written:
        for pitch, finger in zip(item.pitches, item.fingers, strict=True):
            if finger == 0 and pitch not in plays.open_strings:
                yield (
                    _(
                        "%(pretty)s in bar %(bar)s is written as an open string, and the %(plays)s "
                        "has no such string."
                    )
                    % {"pretty": pitch.pretty, "bar": item.bar, "plays": plays.name}
                )
                return


def _out_of_range(score: Score, plays: Instrument) -> Iterator[str]:
    lowest, highest = plays.open_strings[0], plays.open_strings[-1].midi + MAX_STOP_SEMITONES
    notes = [(pitch, item.bar) for item in score.written for pitch in item.pitches]
    low, low_bar = min(notes, key=lambda note: note[0].midi)
    high, high_bar = max(notes, key=lambda note: note[0].midi)
    if low.midi < lowest.midi:
        yield (
            _(
                "%(pretty)s in bar %(low_bar)s lies below the %(plays)s’s lowest string, "
                "%(pretty_2)s."
            )
            % {
                "pretty": low.pretty,
                "low_bar": low_bar,
                "plays": plays.name,
                "pretty_2": lowest.pretty,
            }
        )
    if high.midi > highest:
        yield (
            _("%(pretty)s in bar %(high_bar)s lies beyond the end of the %(plays)s’s fingerboard.")
            % {"pretty": high.pretty, "high_bar": high_bar, "plays": plays.name}
        )


def _remake(version: DrillVersion, enrolment: Enrolment, kind: str) -> str:
    """The same drill for the pupil's instrument and hand; empty where that is what it is."""
    if not version.request:
        return ""
    asked = Request.from_dict(version.request)
    if asked.instrument == kind:
        return ""
    player = player_of(enrolment, kind)
    other = asked.but(instrument=kind, string_length_mm=player.string_length_mm, hand=player.hand)
    return query_of(other, pupil=enrolment)


class SuitableForm(forms.Form):
    """A form that sets drills, and says first where one does not suit a pupil.

    What was said is confirmed by its own name, so that another drill is looked at anew.
    """

    misfit: Misfit | None = None
    misfits: tuple[Misfit, ...] = ()
    confirmed: frozenset[str] = frozenset()  # names of those that were chosen all the same

    def look_at(self, version: DrillVersion, enrolment: Enrolment) -> bool:
        """Whether the drill may be set: it suits, or was chosen all the same."""
        return self.look_at_all([(version, enrolment)])

    def look_at_all(self, pairs: Iterable[tuple[DrillVersion, Enrolment]]) -> bool:
        """Whether every drill may be set for its pupil; what stands against any is kept."""
        return self.judge([misfit_of(version, enrolment) for version, enrolment in pairs])

    def judge(self, found: Iterable[Misfit | None]) -> bool:
        """Whether everything that was found against it was chosen all the same."""
        found = list(found)
        self.confirmed = _all_of(self.data, ALL_THE_SAME)
        left = [misfit for misfit in found if misfit and misfit.name not in self.confirmed]
        self.misfits = tuple(misfit for misfit in found if misfit) if left else ()
        self.misfit = left[0] if left else None
        return not left


def _all_of(data: Mapping, name: str) -> frozenset[str]:
    """What was posted under a name, once or often."""
    said = data.getlist(name) if hasattr(data, "getlist") else [data.get(name)]
    return frozenset(said)
