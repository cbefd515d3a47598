"""What the desk's page and its parts are rendered from."""

import json
from dataclasses import dataclass
from functools import cached_property
from uuid import UUID, uuid4

from django.db.models import BigIntegerField
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Person
from studio.accounts.prepared import Given, Prepared
from studio.accounts.templatetags.words import count_of
from studio.clips.models import Clip, Stage
from studio.clips.processing import availability
from studio.drills import access as drills
from studio.drills.models import Assignment
from studio.review import access, comments, idempotency
from studio.review.marks import bar_pins, pace, tolerances
from studio.review.marks.decisions import Kind, kinds_of
from studio.review.marks.judging import Judged, judged, judged_in
from studio.review.marks.pace import Pace
from studio.review.models import (
    Comment,
    Decision,
    HandMark,
    Return,
    ReturnedMoment,
    Review,
)
from studio.review.waiting import queries
from studio.review.web.shared import clip_states, keys
from studio.review.web.shared.pictures import has_poster
from studio.translating import gettext_lazy

from . import said_before, score_page
from .blocks import Block, Row
from .forms import (
    BarPinForm,
    CommentForm,
    HandMarkForm,
    NewDrillForm,
    SetDrillForm,
    SummaryForm,
    ToleranceForm,
)
from .ledger import blocks_of, in_written_order

SAME_S = 0.0006  # rows carry their moments to the millisecond


@dataclass(frozen=True, slots=True)
class Place:
    """Where a clip stands among those that wait: from 1; before and after it, in that order."""

    position: int | None
    count: int
    previous: UUID | None
    next: UUID | None


def place_among_waiting(person: Person, clip: Clip, order: str) -> Place:
    ids = queries.in_turn(person, order)
    here = clip.review.pk
    at = ids.index(here) if here in ids else None
    before = ids[at - 1] if at else None
    after = ids[0 if at is None else at + 1 :][:1]
    beside = queries.clips_of_reviews([before, *after])
    previous, following = beside.get(before), next((beside[one] for one in after), None)
    return Place(None if at is None else at + 1, len(ids), previous, following)


def steps(clip: Clip) -> dict[str, clip_states.Step]:
    """Where listening and playback stand, by kind; both wait for a first look that was put off."""
    found = {step.kind: step for step in clip_states.of(clip).steps}
    if first := found.pop(Stage.Kind.EXAMINING, None):
        return {Stage.Kind.LISTENING: first, Stage.Kind.PLAYBACK: first}
    return found


def absence(places: dict[str, clip_states.Step]) -> str:
    """What is said while the clip waits to be heard and no listener is at work; else empty."""
    heard = places.get(Stage.Kind.LISTENING)
    now = availability.watch() if heard is not None and heard.moving else None
    return now.sentence if now else ""


class Desk:
    """One clip's page for one teacher; its parts are worked out when they are asked for."""

    def __init__(self, person: Person, review: Review):
        self.person, self.review, self.clip = person, review, review.clip
        self.judged: Judged | None = judged(review)
        self.comments = _comments(review=review.pk)
        self.hand_marks = _hand_marks(review=review.pk)
        for said in (*self.comments, *self.hand_marks):
            said.review = review
        self.blocks = blocks_of(self.judged, self.comments, self.hand_marks)
        self.returned = review.state == Review.State.RETURNED

    def judged_for(self, listening: int) -> Judged | None:
        """What a press is about: the clip as this page shows it, or as an earlier one did."""
        if self.judged is None or self.judged.listening.pk == listening:
            return self.judged
        return judged_in(self.review, listening)

    def shows(self, judged: Judged) -> bool:
        return self.judged is not None and self.judged.listening.pk == judged.listening.pk

    def block(self, key: str) -> Block | None:
        return next((block for block in self.blocks if block.key == key), None)

    def said_before(self, block: Block) -> list[said_before.Said]:
        """What was said in earlier clips about the same as a block's marks."""
        return said_before.about(block.marks, block.name, self.review, self._said)

    @cached_property
    def _said(self) -> list[ReturnedMoment]:
        return access.said_before(self.review)

    def part(self, **extra) -> dict:
        """The context of a part of the page."""
        return {
            "desk": self,
            "review": self.review,
            "clip": self.clip,
            "returned": self.returned,
            "changeable": not self.returned,
            "counts": self.counts(),
            "listening": self.judged.listening if self.judged else None,
            "kinds": self.kinds,
            "tolerance": self.tolerance(),
            "tolerance_now": tolerances.in_force(self.review),
            "tolerance_from": tolerances.from_where(self.review),
            **extra,
        }

    def context(self, order: str = "wait", **extra) -> dict:
        """The context of the whole page; ``order`` is that of the waiting list."""
        clip, places = self.clip, steps(self.clip)
        whole = self.part(
            area="teacher",
            **self.written(),
            empty=not any(block.rows or block.singles for block in self.blocks),
            plain=self.plain,
            plain_said=self.plain_said if self.plain else "",
            comments=self.comments,
            hand_marks=self.hand_marks,
            heard=places.get(Stage.Kind.LISTENING),
            absence=absence(places),
            playback=places.get(Stage.Kind.PLAYBACK),
            notes=clip_states.of(clip).notes,
            pupil=clip.enrolment.pupil,
            pending=self._pending(),
            comparable=access.has_earlier_heard(self.person, clip),
            beside=not clip.recording_gone_at and access.has_earlier_playable(self.person, clip),
            place=place_among_waiting(self.person, clip, order),
            has_poster=has_poster(clip),
            length=figures.length(clip.duration_s or 0),
            facts=self.facts(),
            undoable=json.dumps(idempotency.in_short(self.review, self.person)),
            keys_changed=json.dumps(keys.changed_by(self.person)),
            goes_on=keys.goes_on(self.person),
            of_listening=f"?listening={self.judged.listening.pk}" if self.judged else "",
            **self.pinned(),
            composer=self.composer(),
            add_mark=self.add_mark(),
            **self.closing(),
        )
        return whole | extra  # a form that was refused stands in for the fresh one

    def _pending(self) -> list[Return]:
        """What can be taken back: this clip's return, else the teacher's own, the newest first."""
        found = queries.pending_returns(self.person)
        if self.returned:
            return [returned for returned in found if returned.review_id == self.review.pk]
        return [returned for returned in found if returned.returned_by_id == self.person.pk]

    def written(self) -> dict:
        """The blocks, with a drill's page in the order written, and that page."""
        page = score_page.page_of(self.judged)
        if page is None or self.judged is None:
            return {"blocks": self.blocks, "leaves": [], "bars": []}
        order = [item.id for item in page.written]
        return {
            "blocks": in_written_order(self.blocks, order),
            "leaves": score_page.leaves_of(self.judged, page),
            "bars": score_page.bars_of(page),
        }

    @cached_property
    def pace(self) -> tuple[Pace, ...]:
        """Where the pace of a piece gave way."""
        page = score_page.page_of(self.judged)
        return () if page is None else pace.places(self.judged, page)

    def pinned(self, at_s: float | None = None) -> dict:
        """The places that are said to be a bar, and the form to say another: that of ``at_s``."""
        page = score_page.page_of(self.judged)
        if page is None:
            return {"bar_pins": [], "notes_of_bars": {}}
        return {
            "bar_pins": bar_pins.standing(self.judged, self.review.bar_pins.all()),
            "notes_of_bars": score_page.notes_of_bars(page),
            "bar_pin_form": self.bar_pin_form(at_s=at_s),
        }

    def bar_pin_form(self, data=None, at_s: float | None = None) -> BarPinForm:
        """The form that says which bar a place is; begun with the row at a moment."""
        rows = (row for block in self.blocks for row in (*block.rows, *block.singles))
        here = next((row for row in rows if at_s is not None and _is_at(row, at_s)), None)
        return BarPinForm(
            data,
            name="pin",
            bars=score_page.bars_of(score_page.page_of(self.judged)),
            duration_s=self.clip.duration_s,
            initial={"start_s": here.start_s, "end_s": here.end_s} if here else {},
        )

    def composer(self, data=None, begun: dict | None = None) -> CommentForm:
        """The form of a new comment; ``begun`` is what it starts with."""
        return CommentForm(
            data,
            name="new",
            notes=self.note_names,
            duration_s=self.clip.duration_s,
            initial={"start_s": 0.0, "form_key": uuid4().hex, **(begun or {})},
        )

    @property
    def kinds(self) -> list[Kind]:
        """The kinds of marks, for deciding all of one."""
        return kinds_of(self.judged.marks) if self.judged else []

    def tolerance(self) -> ToleranceForm | None:
        """The clip's tolerance; none while nothing was heard."""
        if self.judged is None:
            return None
        return ToleranceForm(name="tolerance", initial=tolerances.in_force(self.review))

    @property
    def plain(self) -> bool:
        """Whether picture and comment come first and the ledger is folded.

        So it is where the pupil asks something, whatever is heard. Where double stops are sent it
        never is. Where nothing was said: unless double stops or chords were heard, something is
        marked, or nobody listened yet.
        """
        if self.clip.subject:
            return self.clip.asks
        return self.judged is not None and nothing_to_judge(self.judged)

    @property
    def plain_said(self) -> str:
        """What was heard where that is no double stop; empty while nobody listened."""
        if self.judged is None or not nothing_to_judge(self.judged):
            return ""
        said, events = _("No double stops in this clip. "), self.judged.measurement["events"]
        if not events:
            return said + _(
                "No notes were heard: it may be too soft, or the microphone was covered."
            )
        return said + count_of(len(events), "note was,notes were") + " heard."

    @cached_property
    def note_names(self) -> dict[str, str]:
        """What is written in the drill's page, by id."""
        return comments.note_names(self.review)

    def add_mark(self) -> HandMarkForm:
        return HandMarkForm(
            name="hand-new",
            duration_s=self.clip.duration_s,
            initial={"start_s": 0.0, "end_s": 1.0, "form_key": uuid4().hex},
        )

    def closing(self, **forms) -> dict:
        """Drills, summary and return."""
        titles = drills.titles_to_set(self.person, self.clip.enrolment.studio_id)
        return {
            "set_form": SetDrillForm(name="set", titles=titles),
            "new_form": NewDrillForm(name="drill"),
            "summary_form": self.summary(),
            "drills_set": _drills_set(review=self.review.pk),
            **forms,
        }

    def summary(self, written: str | None = None) -> SummaryForm:
        """The summary's form: with what stands, or with what was written beside what stands."""
        standing = self.review.summary
        text = standing if written is None else written
        return SummaryForm(name="sum", initial={"summary": text, "seen": standing})

    def counts(self) -> dict:
        found = self.judged.marks if self.judged else []
        marks = [mark for mark in found if mark.counts]
        undecided = sum(not mark.choice for mark in marks)
        kept = sum(mark.choice == Decision.Choice.KEPT for mark in marks)
        return {
            "marks": len(marks),
            "undecided": undecided,
            "kept": kept,
            "dropped": len(marks) - undecided - kept,
            "quiet": len(found) - len(marks),
            "comments": len(self.comments),
            "by_hand": len(self.hand_marks),
            "double_stops": self.judged.double_stops if self.judged else 0,
        }

    def facts(self) -> list[str]:
        """How this clip was judged, in short sentences."""
        if not self.judged:
            return []
        facts = policy_in_words, reference_in_words, range_in_words
        return [said for fact in facts if (said := fact(self.judged))]


def _is_at(row: Row, at_s: float) -> bool:
    return abs(row.start_s - at_s) < SAME_S


_OF_REVIEW = Given("review", BigIntegerField())
_comments = Prepared(
    lambda: (
        Comment.objects.filter(review=_OF_REVIEW)
        .select_related("author")
        .prefetch_related("enclosures")
    )
)
_drills_set = Prepared(
    lambda: (
        Assignment.objects.filter(set_in=_OF_REVIEW)
        .select_related("version")
        .defer(*drills.scores_of("version"))
    )
)
_hand_marks = Prepared(
    lambda: HandMark.objects.filter(review=_OF_REVIEW).select_related("added_by")
)


def nothing_to_judge(judged: Judged) -> bool:
    """Whether what was heard is not worth a ledger: a bow hold, a tune, silence."""
    if judged.marks or judged.unmatched:
        return False
    return all(event["kind"] == "single" for event in judged.measurement["events"])


def policy_in_words(judged: Judged) -> str:
    """The tuning, and what counts as in tune for what was heard."""
    policy = judged.judgement["policy"]
    heard = {interval["short"] for interval in judged.judgement["intervals"]}
    table = policy["tolerance_cents"]
    allowed = sorted({table[short] for short in heard if short in table})
    within = " or ".join(figures.number(cents) for cents in allowed)
    tuning = _TUNINGS.get(policy["tuning"], policy["tuning"])
    if not within:
        return f"{tuning}."
    return _("%(tuning)s, in tune within %(within)s c, %(review)s.") % {
        "tuning": tuning,
        "within": within,
        "review": tolerances.from_where(judged.review),
    }


def reference_in_words(judged: Judged) -> str:
    """What A4 was taken to be, and how it was told."""
    reference = judged.measurement["reference"]
    source = _SOURCES.get(reference["source"], reference["source"])
    give = figures.plus_minus(reference["uncertainty_cents"])
    a4 = f"A4 {figures.hertz(reference['a4_hz'])} {give}".strip()
    return f"{a4}, {source}."


def range_in_words(judged: Judged) -> str:
    """That notes lie below the instrument, where they do: it may be another one."""
    below = judged.measurement.get("below_range")
    if not below:
        return ""
    told = judged.measurement["options"]
    lowest = (told.get("open_strings") or [""])[0]
    string = f" ({lowest})" if lowest else ""
    notes = f"{below['notes']} note{'s' if below['notes'] > 1 else ''}"
    return _(
        "%(notes)s heard lie below a %(told)s's lowest string%(string)s, down to "
        "%(below)s: is another instrument played?"
    ) % {
        "notes": notes,
        "told": told["instrument"],
        "string": string,
        "below": figures.hertz(below["lowest_hz"], 0),
    }


_TUNINGS = {
    "just": gettext_lazy("Just intonation"),
    "pythagorean": gettext_lazy("Pythagorean tuning"),
    "equal": gettext_lazy("Equal temperament"),
}
_SOURCES = {
    "given": gettext_lazy("as the studio tunes"),
    "open_strings": gettext_lazy("from the open strings"),
    "notes": gettext_lazy("from the notes played"),
    "tone": gettext_lazy("from the reference tone"),
    "assumed": gettext_lazy("assumed, because nothing told it"),
}


def next_waiting(person: Person, after: Clip, order: str) -> Review | None:
    """The first clip of the list, this one left out."""
    return access.next_for(person, order).exclude(clip=after).first()
