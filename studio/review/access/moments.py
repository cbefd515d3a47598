"""What was said before about the same thing: moments of clips that were returned earlier."""

from django.db.models import BigIntegerField, Q, QuerySet

from studio.accounts.access import PLACE
from studio.accounts.prepared import Given, Prepared
from studio.review.models import Return, ReturnedMoment, Review

LOOKED_THROUGH = 150  # of the newest comments; what is older is found on the line of time


def said_before(review: Review) -> list[ReturnedMoment]:
    """The newest comments of the place's clips that were returned before, the newest first.

    Of this clip none: what was returned of it stands on its own page. One query, however much was
    said.
    """
    return _said(place=review.clip.enrolment_id, review=review.pk)


@Prepared
def _said() -> QuerySet[ReturnedMoment]:
    own = Return.objects.filter(review=Given("review", BigIntegerField()))
    return (
        ReturnedMoment.objects.filter(~Q(kind=ReturnedMoment.MARK), enrolment=PLACE)
        .exclude(returned__in=own)
        .select_related("returned__review__clip")
        .defer("returned__snapshot", "returned__review__clip__info")
        .order_by("-at", "number")[:LOOKED_THROUGH]
    )
