"""What the page of drills from a place of a clip is rendered from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from django import forms
from django.db.models import QuerySet
from django.http import Http404, QueryDict
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from studio.accounts.models import Person
from studio.accounts.templatetags.words import due
from studio.drills import access as drills
from studio.drills import services as shelf
from studio.drills.form_values import query_of
from studio.drills.models import Assignment, Drill, DrillVersion
from studio.drills.sheets import leaves
from studio.drills.stretches import Stretch, stretches
from studio.figures import place
from studio.notation import Request, Score
from studio.notation.engraving import engrave
from studio.notation.naming import name_of
from studio.notation.tones import hearing
from studio.review.marks.judging import Judged, judged
from studio.review.models import Review
from studio.review.prescribing.prescription import Proposal, propose
from studio.review.prescribing.spots import (
    Queued,
    Spot,
    SpotFacts,
    facts_at,
    queued_for,
    spot_of_bar,
    spot_of_mark,
    spot_of_span,
)
from studio.translating import gettext_lazy

from .forms import DeskForm, MomentField, SettingForm
from .score_page import bars_of, page_of

MOST_STANDING = 3  # of the queue; more would hide what is proposed
LEAF_WRITTEN = 24  # of a long drill only the beginning is shown


class SpotForm(DeskForm):
    """Where: one mark, one bar (or the one of a written note), or a span."""

    mark = forms.IntegerField(required=False, min_value=0)
    bar = forms.IntegerField(required=False, min_value=1)
    note = forms.CharField(required=False, max_length=64)
    start_s = MomentField(label=gettext_lazy("From"), required=False)
    end_s = MomentField(label=gettext_lazy("to"), required=False)

    def span(self) -> list[forms.BoundField]:
        """The fields of a span."""
        return [self["start_s"], self["end_s"]]

    def spot(self, found: Judged, page: Score | None) -> Spot | None:
        """The place that was asked for, ``None`` where none was; 404 where the clip has no such."""
        asked = self.cleaned_data
        if asked["mark"] is not None:
            spot = spot_of_mark(found, asked["mark"])
        elif asked["note"] or asked["bar"] is not None:
            spot = spot_of_bar(found, page, self._bar(page)) if page else None
        elif None in (asked["start_s"], asked["end_s"]):
            return None
        else:
            start_s, end_s = sorted((asked["start_s"], asked["end_s"]))
            name = f"From {place(start_s, 1)} to {place(end_s, 1)}"
            spot = spot_of_span(found, start_s, end_s, name)
        if spot is None:
            raise Http404
        return spot

    def _bar(self, page: Score) -> int | None:
        written = page.find(self.cleaned_data["note"])
        return written.bar if written else self.cleaned_data["bar"]


class PrescribeForm(SettingForm):
    """A drill of the shelf, or one to be ``made`` (a query string of the form for that)."""

    drill = forms.ModelChoiceField(queryset=None, required=False, widget=forms.HiddenInput)
    made = forms.CharField(required=False, max_length=2000, widget=forms.HiddenInput)

    def __init__(self, *args, shelf: QuerySet[Drill], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["drill"].queryset = shelf

    def plain(self) -> list[forms.BoundField]:
        return [field for field in super().plain() if not field.is_hidden]

    def is_for(self, one: Proposal) -> bool:
        """Whether it is what a proposal's form sent."""
        if one.request:
            return self.data.get("made") == query_of(one.request)
        return self.data.get("drill") == str(one.drill)


@dataclass(frozen=True, kw_only=True)
class Settable:
    """A drill that can be set with one press. ``queued`` is where it stands in the queue already;
    ``is_set`` that it is set with this clip."""

    name: str
    title: str
    form: PrescribeForm | None
    queued: Queued | None = None
    is_set: bool = False

    @property
    def goals(self) -> str:
        """Due day and goal as the form stands: ``Due by Friday 4 December, every note …``."""
        said = {name: self.form[name].value() for name in (*SettingForm.FIGURES, "due_on")}
        if self.form.is_bound:
            return _("Due day and goal")
        day = due(said.pop("due_on"))
        goal = Assignment(**said).goal_in_figures
        return f"{day[:1].upper()}{day[1:]}{f': {goal}' if goal else ''}"


@dataclass(frozen=True, kw_only=True)
class Shown(Settable):
    """A proposal as the page shows it. ``change`` fills the form to make drills with it."""

    proposal: Proposal
    score: Score | None
    change: str = ""
    stretches: list[Stretch] = field(default_factory=list)

    @property
    def bars(self) -> int:
        return len(self.score.bars) if self.score else 0

    @cached_property
    def leaf(self) -> Score | None:
        """The beginning: all of it, where it is for one spot."""
        return leaves(self.score, LEAF_WRITTEN)[0] if self.score else None

    @property
    def bars_shown(self) -> int:
        return len(self.leaf.bars) if self.leaf else 0

    @cached_property
    def sheet(self) -> SafeString:
        """The beginning, engraved."""
        if self.leaf is None:
            return SafeString()
        drawn = engrave(
            self.leaf,
            layout="phone",
            name=name_of(self.leaf),
            id_prefix=f"{self.name}-",
            ends=self.bars_shown == self.bars,
        )
        return mark_safe("".join(drawn))  # the engraver's own markup, in which words are escaped


class PrescriptionPage:
    """One clip's page for one place; its parts are worked out when they are asked for."""

    def __init__(self, person: Person, review: Review, asked: QueryDict) -> None:
        self.person, self.review, self.clip = person, review, review.clip
        self.enrolment = review.clip.enrolment
        self.judged: Judged | None = judged(review)
        self.page = page_of(self.judged)
        self.form = SpotForm(asked or None, name="spot")
        kept = {name: asked[name] for name in SpotForm.base_fields if asked.get(name)}
        query = QueryDict(mutable=True)
        query.update(kept)
        self.address = f"{reverse('desk_from_here', args=[self.clip.pk])}?{query.urlencode()}"
        self.spot: Spot | None = None
        if self.judged and self.form.is_valid():
            self.spot = self.form.spot(self.judged, self.page)

    @cached_property
    def shelf(self) -> QuerySet[Drill]:
        return drills.titles_on_shelf(self.person).filter(studio=self.enrolment.studio)

    def context(self, hear: str = "", refused: PrescribeForm | None = None) -> dict:
        """The context of the page and of its part; ``hear`` names the proposal to be heard."""
        found = self._looked()
        queue = queued_for(self.enrolment, found.facts) if found and found.facts.faults else []
        shown = self._shown(found, queue, refused) if found else []
        standing = self._standing(found, queue, shown, refused) if found else []
        heard = next((one.score for one in shown if one.name == hear), None)
        told = any(one.form is refused for one in (*shown, *standing))
        marks = self.judged.marks if self.judged else []
        return {
            "area": "teacher",
            "clip": self.clip,
            "pupil": self.enrolment.pupil,
            "listened": self.judged is not None,
            "spot": self.spot,
            "spot_form": self.form,
            "here": self.address,
            "found": found,
            "player": found.player if found else None,
            "shown": shown,
            "standing": standing,
            "refused": refused,
            # What was pressed is no longer proposed: the pupil plays another instrument now.
            "gone": refused and refused.misfit and not told,
            "by_hand": self._by_hand(found) if found else "",
            "hearing": self._hearing(heard) if heard else None,
            "marks": [mark for mark in marks if mark.is_sized],
            "bars": bars_of(self.page),
        }

    def _looked(self) -> SpotFacts | None:
        if self.judged is None or self.spot is None:
            return None
        return facts_at(self.person, self.judged, self.spot, self.page)

    @cached_property
    def _set_here(self) -> set[int]:
        """The versions that are set with this clip."""
        return set(self.review.drills_set.values_list("version", flat=True))

    def _shown(
        self, found: SpotFacts, queue: list[Queued], refused: PrescribeForm | None
    ) -> list[Shown]:
        proposals = propose(found.facts)
        versions = self._versions(proposals)
        drills_queued = {one.assignment.version.drill_id: one for one in reversed(queue)}
        shown = []
        for one in proposals:
            version = versions.get(one.name)
            queued = drills_queued.get(version.drill_id) if version else None
            shown.append(self._one(one, version, queued, found, refused))
        return shown

    def _standing(
        self,
        found: SpotFacts,
        queue: list[Queued],
        shown: list[Shown],
        refused: PrescribeForm | None,
    ) -> list[Settable]:
        """What else of the queue treats this, to be set again where it is on the shelf still."""
        told = {one.queued.assignment.pk for one in shown if one.queued}
        others = [one for one in queue if one.treats and one.assignment.pk not in told]
        asked = [one.assignment.version.drill_id for one in others]
        newest = {
            drill.pk: drill.newest()
            for drill in drills.with_versions(self.shelf.filter(pk__in=asked))
        }
        return [
            self._again(one, newest.get(one.assignment.version.drill_id), found, refused)
            for one in others[:MOST_STANDING]
        ]

    def _again(
        self,
        one: Queued,
        newest: DrillVersion | None,
        found: SpotFacts,
        refused: PrescribeForm | None,
    ) -> Settable:
        standing, form = one.assignment, None
        name = f"queued-{standing.pk}"
        if newest is not None:
            start: dict = {"drill": newest.drill_id, "playings": standing.playings}
            if standing.version.score is not None:
                start["tolerance_cents"] = round(found.facts.faults[0].tolerance_cents)
            form = PrescribeForm(name=name, shelf=self.shelf, initial=start)
            if refused is not None and refused.data.get("drill") == str(newest.drill_id):
                form = refused
        return Settable(
            name=name,
            title=standing.version.title,
            form=form,
            queued=one,
            is_set=newest is not None and newest.pk in self._set_here,
        )

    def _versions(self, proposals: list[Proposal]) -> Mapping[str, DrillVersion]:
        """What the shelf has of the proposals already, by their names."""
        studio, found = self.enrolment.studio, {}
        chosen = [one.drill for one in proposals if one.drill]
        newest = {
            drill.pk: drill.newest().pk
            for drill in drills.with_versions(self.shelf.filter(pk__in=chosen))
        }
        pages = DrillVersion.objects.in_bulk(list(newest.values()))
        for one in proposals:
            made = shelf.made_before(studio, one.request) if one.request else None
            version = pages.get(newest.get(one.drill)) if one.drill else made
            if version is not None:
                found[one.name] = version
        return found

    def _one(
        self,
        one: Proposal,
        version: DrillVersion | None,
        queued: Queued | None,
        found: SpotFacts,
        refused: PrescribeForm | None,
    ) -> Shown:
        score = version.page if version else one.score
        asked = one.request or _request_of(version)
        again = refused if refused is not None and refused.is_for(one) else None
        return Shown(
            name=one.name,
            proposal=one,
            queued=queued,
            title=version.title if version else one.score.title if one.score else "",
            score=score,
            form=again or self._form(one, score),
            change=query_of(asked, pupil=self.enrolment) if asked else "",
            stretches=stretches(score, found.player) if score else [],
            is_set=version is not None and version.pk in self._set_here,
        )

    def _form(self, one: Proposal, score: Score | None) -> PrescribeForm:
        """What is set, due in a week; with a page, in tune by what is in force for this clip."""
        start: dict = {"drill": one.drill} if one.drill else {}
        if one.request:
            start["made"] = query_of(one.request)
            start["playings"] = one.request.playings
        if score is not None:
            start["tolerance_cents"] = round(one.tolerance_cents)
        return PrescribeForm(name=one.name, shelf=self.shelf, initial=start)

    def _by_hand(self, found: SpotFacts) -> str:
        facts = found.facts
        asked = Request(
            key=str(facts.key),
            interval=found.interval or "octaves",
            instrument=facts.instrument,
            string_length_mm=facts.string_length_mm,
            hand=facts.hand,
        )
        return query_of(asked, pupil=self.enrolment)

    def _hearing(self, score: Score) -> dict:
        studio = self.enrolment.studio
        return hearing(score, tuning=studio.tuning, a4_hz=studio.a4_hz)


def _request_of(version: DrillVersion | None) -> Request | None:
    return Request.from_dict(version.request) if version and version.request else None
