"""Two takes side by side and in step, for the hand and the bow.

``GET /clips/<uuid>/together/?with=<uuid>`` plays a clip beside an earlier one of its pupil, from
moments that are chosen there. Nothing has to have been heard in either.
"""

import json

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from studio.drills.access import scores_of
from studio.review import access
from studio.review.models import Review
from studio.review.web.shared import keys
from studio.review.web.shared.pictures import has_poster, is_playable

from .exchanges import on_desk, review_of_clip

MOST = 40  # of the pupil's newest; further back a list of clips is no help


@require_GET
@on_desk
def together(request: HttpRequest, review: Review) -> HttpResponse:
    """The page; where there is no earlier clip it says so."""
    groups = _groups(_earlier(request, review), review)
    other = _chosen(request, review, groups)
    return render(
        request,
        "review/together.html",
        {
            "area": "teacher",
            "clip": review.clip,
            "pupil": review.clip.enrolment.pupil,
            "groups": [(name, reviews) for name, reviews in groups if reviews],
            "other": other,
            "takes": [_take("then", _("Then"), other), _take("now", _("Now"), review)]
            if other
            else [],
            "keys_changed": json.dumps(keys.changed_by(request.user)),
        },
    )


def _earlier(request: HttpRequest, review: Review) -> list[Review]:
    earlier = access.earlier_playable(request.user, review.clip)
    return list(earlier.defer(*scores_of("answers__version"))[:MOST])


def _groups(earlier: list[Review], review: Review) -> list[tuple[str, list[Review]]]:
    """Those that answer the same drill, then the others, the newest first."""
    same = [other for other in earlier if _same_drill(other, review)]
    rest = [other for other in earlier if other not in same]
    return [(_("The same drill"), same), (_("Other clips"), rest)]


def _same_drill(one: Review, other: Review) -> bool:
    if one.answers is None or other.answers is None:
        return False
    return one.answers.version.drill_id == other.answers.version.drill_id


def _chosen(request: HttpRequest, review: Review, groups) -> Review | None:
    """The clip to play beside it: the one asked for, else the first offered."""
    asked = request.GET.get("with")
    if asked is None:
        return next((reviews[0] for _rest, reviews in groups if reviews), None)
    return review_of_clip(access.earlier_playable(request.user, review.clip), asked)


def _take(key: str, title: str, review: Review) -> dict:
    clip = review.clip
    return {
        "key": key,
        "title": title,
        "clip": clip,
        "playable": is_playable(clip),
        "has_poster": has_poster(clip),
    }
