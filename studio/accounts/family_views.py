"""A family's invitation: one page for a guardian and her children, accepted once."""

from django.contrib import messages
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from . import child_log_in, consent, families, invitations
from .consent_text import ConsentText, text_before
from .family_forms import ComingForm
from .models import Invitation, Membership, Person, current
from .names import listed

BACKEND = "django.contrib.auth.backends.ModelBackend"
CHANGED = gettext_lazy(
    "The words that ask for consent have changed since. Read them once more, then accept."
)


def invitation_of_family(request: HttpRequest, offered: Invitation) -> HttpResponse:
    """What is offered (GET); coming in with the children (POST). The secret was right."""
    account = invitations.account_of(offered)
    here = account is None or request.user == account
    if not here or (account is not None and not families.may_accept(account)):
        return _offer(request, offered, account, None, status=200 if _reads(request) else 403)
    if _reads(request):
        return _offer(request, offered, account, ComingForm(offered, account))
    form = ComingForm(offered, account, request.POST)
    if request.POST.get("wording") != str(_words().version):
        return _offer(request, offered, account, form, status=409, changed=CHANGED)
    if not form.is_valid():
        return _offer(request, offered, account, form, status=422)
    return _accept(request, offered, account, form)


def _accept(
    request: HttpRequest, offered: Invitation, account: Person | None, form: ComingForm
) -> HttpResponse:
    said = form.account.cleaned_data if form.account else {}
    children = [child.taken() for child in form.children]
    name, password = said.get("name", ""), said.get("password", "")
    try:
        arrival = families.accept(offered, children, name, password, person=account)
    except child_log_in.NameTaken:
        form.refuse_name()
        return _offer(request, offered, account, form, status=422)
    if account is None:
        login(request, arrival.guardian, backend=BACKEND)
    messages.success(request, _("Welcome to %(studio)s.") % {"studio": offered.studio})
    return _go_on(request, arrival)


def _go_on(request: HttpRequest, arrival: families.Arrival) -> HttpResponse:
    """To where the first clip is sent; where a log-in was made, its code is shown before."""
    agreed = next(iter(arrival.agreed), None)
    onward = reverse("child_send", args=[agreed.pk]) if agreed else reverse("children")
    if not arrival.codes:
        return redirect(onward)
    context = {
        "area": "guardian",
        "codes": list(arrival.codes.items()),
        "address": request.build_absolute_uri(reverse("log_in")),
        "onward": onward,
        "first": agreed.pupil.first_name if agreed else "",
    }
    return render(request, "accounts/family_codes.html", context)


def _offer(
    request: HttpRequest,
    offered: Invitation,
    account: Person | None,
    form: ComingForm | None,
    status: int = 200,
    changed: str = "",
) -> HttpResponse:
    context = {
        "offered": offered,
        "account": account,
        "is_child": account is not None and not families.may_accept(account),
        "teaches": account is not None and _teaches(account, offered),
        "form": form,
        "text": _text(offered),
        "changed": changed,
        "path": request.path,
    }
    return render(request, "accounts/invitation_family.html", context, status=status)


def _reads(request: HttpRequest) -> bool:
    return request.method != "POST"


def _words():
    return consent.WORDS[consent.Purpose.RECORDINGS]


def _text(offered: Invitation) -> ConsentText:
    names = [child.name.split() or [child.name] for child in offered.children.all()]
    first = listed(name[0] for name in names)
    teacher = offered.invited_by.name if offered.invited_by else offered.studio.name
    return text_before(_words(), offered.studio, first, teacher)


def _teaches(account: Person, offered: Invitation) -> bool:
    """Then she decides about nobody's consent there."""
    held = Membership.objects.filter(current(), person=account, studio=offered.studio)
    return held.filter(role=Membership.Role.TEACHER).exists()
