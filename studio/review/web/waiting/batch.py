"""A batch at once: clips in which nothing was found or asked, in a row, and returned together.

``GET /waiting/batch/`` shows the first of them, the longest wait first. ``POST`` returns those that
have words: ``clip`` names each, with ``summary-…``, ``seen-…`` and ``example-…`` of its number.
What cannot be returned stays, with a sentence and with what was written.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from studio.accounts import access as people
from studio.accounts.models import Person
from studio.review import access
from studio.review.models import Return, Review
from studio.review.returning import batch, summaries
from studio.review.returning.batch import NO_WORDS, Example, LeftOut, Wanted, return_one, standing
from studio.review.returning.summaries import Offer, Said, Sentence
from studio.review.waiting import queries
from studio.review.web.shared import clip_states, keys
from studio.review.web.shared.pictures import has_poster
from studio.translating import gettext_lazy

AT_ONCE = 20  # clips a page: about what is looked through in one sitting
SUMMARIES = 500  # the last ones are read for what is said often
RECORDINGS = 200
NOTHING = gettext_lazy("Nothing was returned: no clip has a summary yet.")


@dataclass(frozen=True, slots=True)
class Row:
    """One clip of the batch, with what was written for it."""

    review: Review
    place: clip_states.Whereabouts
    has_poster: bool
    seen: str
    offers: list[Offer]
    examples: list[Example]
    summary: str
    example: str
    problem: str = ""


@dataclass(slots=True)
class Sent:
    """What came with a press: the wanted by clip, and why some were left out."""

    wanted: dict[UUID, Wanted] = field(default_factory=dict)
    left: dict[UUID, LeftOut] = field(default_factory=dict)
    returned: int = 0


@require_http_methods(["GET", "HEAD", "POST"])
def batch_page(request: HttpRequest) -> HttpResponse:
    if not people.is_teacher(request.user):
        raise Http404
    sent = _carried_out(request) if request.method == "POST" else Sent()
    if sent.returned and not _pending(request.user):  # else the next page says it
        clips = (
            _("1 clip returned")
            if sent.returned == 1
            else _("%(returned)s clips returned") % {"returned": sent.returned}
        )
        messages.success(request, _("%(clips)s, each with its own summary.") % {"clips": clips})
    if request.method == "POST" and not sent.left:
        if not sent.returned:
            messages.warning(request, NOTHING)
        return redirect("batch" if access.batch_for(request.user).exists() else "waiting_list")
    return _page(request, sent)


@require_safe
def moved(request: HttpRequest) -> HttpResponse:
    """The address that this page had before."""
    if not people.is_teacher(request.user):
        raise Http404
    return redirect("batch", permanent=True)


def _pending(person: Person) -> list[Return]:
    """What this teacher can still take back."""
    found = queries.pending_returns(person)
    return [returned for returned in found if returned.returned_by_id == person.pk]


def _carried_out(request: HttpRequest) -> Sent:
    sent, site = Sent(), f"{request.scheme}://{request.get_host()}"
    for wanted in _wanted(request):
        sent.wanted[wanted.clip_id] = wanted
        if not wanted.summary and not wanted.example:
            continue
        try:
            if not wanted.summary:
                raise LeftOut(NO_WORDS)
            return_one(request.user, wanted, site)
        except LeftOut as left:
            sent.left[wanted.clip_id] = left
        else:
            sent.returned += 1
    return sent


def _wanted(request: HttpRequest) -> Iterable[Wanted]:
    said = request.POST
    for clip_id in dict.fromkeys(filter(None, map(_uuid, said.getlist("clip")[:AT_ONCE]))):
        of = clip_id.hex
        yield Wanted(
            clip_id,
            said.get(f"summary-{of}", "").strip(),
            said.get(f"seen-{of}", ""),
            _uuid(said.get(f"example-{of}", "")),
        )


def _page(request: HttpRequest, sent: Sent) -> HttpResponse:
    reviews = list(access.batch_for(request.user)[: AT_ONCE + 1])
    rows = _rows(request.user, reviews[:AT_ONCE], sent)
    here = {row.review.clip_id for row in rows}
    context = {
        "area": "teacher",
        "rows": rows,
        "more": len(reviews) > AT_ONCE,
        "left": [
            {"sentence": left.sentence, "review": left.review, "wanted": sent.wanted[clip_id]}
            for clip_id, left in sent.left.items()
            if clip_id not in here
        ],
        "keys_changed": json.dumps(keys.changed_by(request.user)),
        "problems": len(sent.left),
        "pending": _pending(request.user),
    }
    return render(request, "review/batch.html", context, status=409 if sent.left else 200)


def _rows(person: Person, reviews: list[Review], sent: Sent) -> list[Row]:
    """The queries here are a fixed number, however many clips there are."""
    if not reviews:
        return []
    often, phrases = _often(person), _phrases(person)
    recorded = batch.examples_of(access.own_recordings(person)[:RECORDINGS])
    return [_row(review, sent, often, phrases, recorded) for review in reviews]


def _row(
    review: Review,
    sent: Sent,
    often: dict[int, list[Sentence]],
    phrases: dict[int, list[str]],
    recorded: list[Example],
) -> Row:
    clip, studio = review.clip, review.clip.enrolment.studio_id
    pupil = clip.enrolment.pupil
    wanted, left = sent.wanted.get(clip.pk), sent.left.get(clip.pk)
    return Row(
        review=review,
        place=clip_states.of(clip),
        has_poster=has_poster(clip),
        seen=standing(review, review.listening_id),
        offers=summaries.offered_sentences(
            often.get(studio, []),
            phrases.get(studio, []),
            pupil_id=pupil.pk,
            first_name=pupil.first_name,
            kind=review.answers.version.interval if review.answers else "",
        ),
        examples=batch.offered_examples(recorded, review),
        summary=wanted.summary if wanted else review.summary,
        example=str(wanted.example or "") if wanted else "",
        problem=left.sentence if left else "",
    )


def _often(person: Person) -> dict[int, list[Sentence]]:
    """What a teacher said, by studio: nothing crosses from one to another."""
    clip = "review__clip__enrolment"
    names = (
        f"{clip}__studio",
        "review__summary",
        f"{clip}__pupil",
        f"{clip}__pupil__name",
        "review__answers__version__interval",
    )
    by_studio: dict[int, list[Said]] = {}
    for studio, text, pupil_id, name, kind in access.own_summaries(person).values_list(*names)[
        :SUMMARIES
    ]:
        said = Said(text, pupil_id, Person(name=name).first_name, kind or "")
        by_studio.setdefault(studio, []).append(said)
    return {studio: summaries.counted_sentences(said) for studio, said in by_studio.items()}


def _phrases(person: Person) -> dict[int, list[str]]:
    by_studio: dict[int, list[str]] = {}
    for phrase in access.phrases_by(person):
        by_studio.setdefault(phrase.studio_id, []).append(phrase.text)
    return by_studio


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None
