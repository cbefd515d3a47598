"""How the desk answers a form: parts of the page to a script, a redirect to a plain browser.

A script says so with ``X-Desk: parts``. It then gets HTML whose top-level elements stand in for the
elements with the same ids. A refused form answers 422, a conflict 409, both with the part that
shows what is wrong and keeps what was typed.

With ``X-Act`` a script names a press, so that one whose answer was lost may be sent again: it is
carried out once (see :mod:`studio.review.idempotency`), and the second answer is all that stands
now.
``X-Person`` says whose press it is: whoever is logged in by then does nothing in that name.
``X-Listening`` is what its page was made from: the answer is made from the same, though the clip
was heard anew since (:func:`studio.review.marks.judging.judged`).
``X-Version`` of an answer is the review's, at least; a late answer is known by it.
"""

from collections.abc import Callable
from functools import wraps
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from studio import figures
from studio.review import access, idempotency
from studio.review.changes import AlreadyReturned
from studio.review.models import Review
from studio.review.web.shared.order import order_of
from studio.translating import gettext_lazy

from .page import Desk

BLOCK = "review/desk_block.html"
COUNTS = "review/desk_counts.html"
COMPOSER = "review/desk_composer.html"
DRILLS = "review/desk_drills.html"
LEAF = "review/desk_leaf.html"
PINS = "review/desk_pins.html"
PIN_LIST = "review/desk_pin_list.html"
KINDS = "review/desk_kinds_of_marks.html"
LEDGER = "review/desk_blocks.html"
FACTS = "review/desk_facts.html"
TOLERANCE = "review/desk_tolerance.html"
SAID = "review/desk_said.html"
HEARD_AGAIN = gettext_lazy(
    "This clip was listened to again in the meantime. Here is what it says now."
)
RETURNED = gettext_lazy(
    "This clip was returned, so it can no longer be changed. Nothing you wrote was lost."
)
NOT_YOURS = gettext_lazy(
    "Somebody else is logged in in this browser, so nothing was done in your name."
)

ABOUT_HEARD = (KINDS, FACTS, TOLERANCE)

Part = tuple[str, dict]


def wants_parts(request: HttpRequest) -> bool:
    return request.headers.get("X-Desk") == "parts"


def review_of_clip(within: QuerySet[Review], asked: str) -> Review:
    """The review of the clip that an address names, among those in reach; 404 for any other."""
    try:
        clip = UUID(asked)
    except ValueError:
        raise Http404 from None
    found = within.filter(clip=clip).first()
    if found is None:
        raise Http404
    return found


def parts(request: HttpRequest, *wanted: Part, said: str = "", status: int = 200) -> HttpResponse:
    """Several parts in one answer, with a sentence for the status line."""
    html = [render_to_string(template, context, request) for template, context in wanted]
    html.append(render_to_string(SAID, {"said": said}, request))
    return HttpResponse("\n".join(html), status=status)


def block_parts(desk: Desk, keys: set[str], **extra) -> list[Part]:
    """The named blocks, and the counts and kinds that every change of a block touches."""
    shared = desk.part()
    blocks = [block for block in desk.blocks if block.key in keys]
    found: list[Part] = [(BLOCK, {**shared, **extra, "block": block}) for block in blocks]
    return [*found, (COUNTS, shared), (KINDS, {**shared, **extra})]


def standing(request: HttpRequest, page: Desk, *, said: str = "", status: int = 200):
    """All that an exchange can change, as it stands now."""
    shared = page.part(**page.written(), **page.closing(), facts=page.facts())
    names = (LEDGER, COUNTS, KINDS, FACTS, TOLERANCE, DRILLS)
    wanted = [(name, shared) for name in names if page.judged or name not in ABOUT_HEARD]
    return parts(request, *wanted, *page_parts(page), said=said, status=status)


def page_parts(page: Desk) -> list[Part]:
    """The drill's page with its figures, leaf by leaf, and the places that are pinned to it."""
    written = page.written()
    if not written["leaves"]:
        return []
    leaves = [(LEAF, {"leaf": leaf, "number": n}) for n, leaf in enumerate(written["leaves"], 1)]
    return [*leaves, (PIN_LIST, page.part(**page.pinned()))]


def whole_page(request: HttpRequest, desk: Desk, status: int = 200, **extra) -> HttpResponse:
    return render(
        request, "review/desk.html", desk.context(order_of(request), **extra), status=status
    )


def back(clip_id, anchor: str = "") -> HttpResponse:
    return redirect(f"/clips/{clip_id}/{'#' + anchor if anchor else ''}")


def heard_again(request: HttpRequest, page: Desk) -> HttpResponse:
    """What the page showed was heard before: say so, and nothing is changed."""
    if wants_parts(request):
        return parts(request, said=HEARD_AGAIN + _(" Load the page again."), status=409)
    messages.warning(request, HEARD_AGAIN)
    return back(page.clip.pk)


def on_desk(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Reach the review through ``access``; a change is one press of one person, and done once.

    409 when the clip was returned meanwhile, 403 when the press is another person's.
    """

    @wraps(view)
    def reached(request: HttpRequest, clip_id, **kwargs) -> HttpResponse:
        review: Review = access.review_for(request.user, clip_id)
        if request.headers.get("X-Person", str(request.user.pk)) != str(request.user.pk):
            answer = parts(request, said=NOT_YOURS, status=403)
            answer["X-Held"] = "person"
            return answer
        review.shown_listening = shown_in(request)
        key = request.headers.get("X-Act", "")[: idempotency.LONGEST_KEY]
        with idempotency.acting(request.user, key) as acting:
            answer = _carried_out(request, review, key, lambda: view(request, review, **kwargs))
        changed = acting.version is not None and answer.status_code < 400
        answer["X-Version"] = str(acting.version if changed else review.version)
        return answer

    return reached


def shown_in(request: HttpRequest) -> int | None:
    """The listening that the asking page was made from; None where it does not say.

    A form names the one that its press is about: without a script that is its page's, too.
    """
    said = (
        request.headers.get("X-Listening"),
        request.POST.get("listening"),
        request.GET.get("listening"),
    )
    return next((number for text in said if (number := figures.whole(text)) is not None), None)


def _carried_out(
    request: HttpRequest, review: Review, key: str, work: Callable[[], HttpResponse]
) -> HttpResponse:
    try:
        if idempotency.was_carried_out(review, key):
            raise idempotency.CarriedOut(key)
        if request.method == "POST" and review.state == Review.State.RETURNED:
            raise AlreadyReturned
        return work()
    except idempotency.CarriedOut:
        review.refresh_from_db(fields=["version"])
        again = access.review_for(request.user, review.clip_id)
        again.shown_listening = review.shown_listening
        return standing(request, Desk(request.user, again))
    except AlreadyReturned:
        if wants_parts(request):
            return parts(request, said=RETURNED, status=409)
        messages.warning(request, RETURNED)
        return back(review.clip_id)
