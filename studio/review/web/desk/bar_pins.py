"""Saying at the desk which bar of the drill's page a place is; the clip is judged anew at once."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from studio.review.marks import bar_pins
from studio.review.models import Review

from . import exchanges
from .decisions import ledger_parts
from .exchanges import back, on_desk, parts, wants_parts, whole_page
from .forms import BarPinForm
from .page import Desk


@require_POST
@on_desk
def place(request: HttpRequest, review: Review) -> HttpResponse:
    """A place is a bar of the page; 422 with a sentence where it cannot be."""
    page = Desk(request.user, review)
    form = page.bar_pin_form(request.POST)
    if form.is_valid():
        try:
            bar_pins.place(review, form.span(), form.cleaned_data["bar"], request.user)
        except bar_pins.Refused as refused:
            form.add_error(None, str(refused))
    if form.errors:
        return _again(request, page, form)
    said = _("Followed anew: this is bar %(bar)s.") % {"bar": form.cleaned_data["bar"]}
    return _followed_anew(request, review, said)


@require_POST
@on_desk
def take_away(request: HttpRequest, review: Review, pin_id: int) -> HttpResponse:
    """Follow the drill without this pin."""
    bar_pins.take_away(review, pin_id)
    return _followed_anew(request, review, _("Taken away, and followed anew."))


def _followed_anew(request: HttpRequest, review: Review, said: str) -> HttpResponse:
    if not wants_parts(request):
        return back(review.clip_id, "pins")
    page = Desk(request.user, review)
    many = page.counts()["marks"]
    marks = ngettext("%(count)s mark.", "%(count)s marks.", many) % {"count": many}
    changed = [*ledger_parts(page), *exchanges.page_parts(page)]
    return parts(request, *changed, said=f"{said} {marks}")


def _again(request: HttpRequest, page: Desk, form: BarPinForm) -> HttpResponse:
    if not wants_parts(request):
        return whole_page(request, page, status=422, bar_pin_form=form, pinning=True)
    why = " ".join(error for errors in form.errors.values() for error in errors)
    again = {**page.pinned(), "bar_pin_form": form, "pinning": True}
    part = (exchanges.PINS, page.part(**again))
    return parts(request, part, said=why, status=422)
