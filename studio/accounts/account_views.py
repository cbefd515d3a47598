"""The page of one's own account, and what is told there."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.core import signing
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio.headers import opens_a_door

from . import (
    access,
    address_changes,
    letters,
    notices,
    passwords,
    saved_forms,
    second_step,
    sessions,
)
from .account_forms import (
    NOBODY_AGREES,
    TAKEN,
    AddressForm,
    ChangePasswordForm,
    CodesForm,
    NameForm,
    SecondStepForm,
)
from .address_changes import AddressTaken, AnsweredAlready
from .models import Person
from .names import listed
from .reauthentication import asks_again

ADDRESS_SALT = "studio.accounts.new_address"
ADDRESS_LINK_S = 24 * 60 * 60


@require_safe
def account(request: HttpRequest) -> HttpResponse:
    """Name, address, password, recovery codes, and the sessions that are open."""
    return account_page(request)


@require_POST
def name(request: HttpRequest) -> HttpResponse:
    person = Person.objects.get(pk=request.user.pk)  # what is refused must not stay in the page
    form = NameForm(request.POST, instance=person)
    if not form.is_valid():
        return account_page(request, name=form)
    form.save()
    return _done(request, _("Your name is changed."))


@sensitive_post_parameters()
@require_POST
def address(request: HttpRequest) -> HttpResponse:
    """Confirmed by the password; where mail is sent, by a link to the new address too."""
    form = AddressForm(request, request.POST)
    if not form.is_valid():
        return account_page(request, address=form)
    email = form.cleaned_data["email"]
    if settings.MAIL:
        _post_link(request, email)
        return _done(
            request,
            _("A letter is on its way to %(email)s. Its link goes on with it.") % {"email": email},
        )
    try:
        return _done(request, _changed_or_asked(request, email))
    except AddressTaken:
        form.add_error("email", TAKEN)
        return account_page(request, address=form)


@opens_a_door
@require_http_methods(["GET", "HEAD", "POST"])
def new_address(request: HttpRequest, token: str) -> HttpResponse:
    """The link of a letter to a new address: shows it (GET), makes the change (POST)."""
    said = _said_by(token)
    mine = said is not None and (said["person"], said["from"]) == (
        request.user.pk,
        request.user.email,
    )
    if not mine:
        return render(request, "accounts/new_address.html", {"email": ""}, status=404)
    if request.method != "POST":
        return render(
            request,
            "accounts/new_address.html",
            {"email": said["to"], "agree": address_changes.who_agrees(request.user)},
        )
    if address_changes.nobody_agrees(request.user):
        messages.error(request, NOBODY_AGREES)
        return redirect("account")
    try:
        return _done(request, _changed_or_asked(request, said["to"]))
    except AddressTaken:
        messages.error(request, TAKEN)
        return redirect("account")


@require_POST
def take_back_address(request: HttpRequest) -> HttpResponse:
    """A child no longer wants the address that a guardian was asked about."""
    taken_back = address_changes.take_back(request.user)
    return _done(
        request,
        _("It is taken back. You log in with %(logs_in_with)s.")
        % {"logs_in_with": request.user.logs_in_with}
        if taken_back
        else _("It was answered already."),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@asks_again
def answer_address(request: HttpRequest, pk: int) -> HttpResponse:
    """Whether a child may log in with another address (GET); the guardian's answer (POST)."""
    change = access.address_change_to_answer(request.user, pk)
    if request.method != "POST":
        return render(request, "accounts/answer_address.html", {"change": change})
    child, email = change.person, change.email
    said = _("%(child)s logs in with %(logs_in_with)s, as before.") % {
        "child": child.first_name,
        "logs_in_with": child.logs_in_with,
    }
    try:
        if request.POST.get("choice") != "agree":
            address_changes.decline(change, by=request.user)
        else:
            address_changes.agree(change, by=request.user)
            said = _("From now on %(child)s logs in with %(email)s.") % {
                "child": child.first_name,
                "email": email,
            }
    except AddressTaken:
        messages.error(request, f"{email} cannot be used here. {said} {child.first_name} is told.")
        return redirect("children")
    except AnsweredAlready:
        raise Http404 from None
    messages.success(request, said)
    return redirect("children")


@sensitive_post_parameters()
@require_POST
def password(request: HttpRequest) -> HttpResponse:
    """A new password; every other session of the person ends."""
    form = ChangePasswordForm(request, request.POST)
    if not form.is_valid():
        return account_page(request, password=form)
    passwords.renew(request.user, form.cleaned_data["password"], request.session.session_key)
    update_session_auth_hash(request, request.user)
    return _done(
        request, _("Your password is changed. Wherever else you were logged in, you are not.")
    )


@opens_a_door
@sensitive_post_parameters()
@require_POST
def codes(request: HttpRequest) -> HttpResponse:
    """New recovery codes, shown this once."""
    form = CodesForm(request, request.POST)
    if not form.is_valid():
        return account_page(request, codes=form)
    made = passwords.make_codes(request.user)
    return render(request, "accounts/codes.html", {"codes": made, "address": _log_in(request)})


@asks_again
@require_POST
def end_session(request: HttpRequest) -> HttpResponse:
    """End one session (``which``), or all but this one (``which=others``)."""
    which = request.POST.get("which", "")
    here = request.session.session_key
    if which == "others":
        sessions.end_all(request.user, but=here)
        second_step.spare_nobody(request.user)
        return _done(request, _("You are logged in here only."))
    if any(one.here and one.name == which for one in sessions.of(request.user, here)):
        logout(request)
        return redirect("log_in")
    if not sessions.end(request.user, which):
        messages.info(request, "That session had ended already.")
        return redirect("account")
    return _done(request, _("That session has ended."))


@require_POST
def notice_read(request: HttpRequest, pk: int) -> HttpResponse:
    if not notices.note_read(request.user, pk):
        raise Http404
    return redirect(saved_forms.page_before(request))


def account_page(request: HttpRequest, **refused) -> HttpResponse:
    """The page, with the form that was refused in place of an empty one."""
    forms = {
        "name": NameForm(instance=request.user),
        "address": AddressForm(request),
        "password": ChangePasswordForm(request),
        "codes": CodesForm(request),
        "second": SecondStepForm(request),
    }
    context = {
        "forms": forms | refused,
        "refused": next(iter(refused), ""),
        "open_sessions": sessions.of(request.user, request.session.session_key),
        "codes_left": passwords.codes_left(request.user),
        "codes_made": passwords.CODES,
        "second_step": second_step.is_on(request.user),
        "phone_codes_left": second_step.codes_left(request.user),
        "phone_codes_made": second_step.CODES,
        "mail": bool(settings.MAIL),
        "agree": address_changes.who_agrees(request.user),
        "wanted": address_changes.wanted(request.user),
    }
    return render(request, "accounts/account.html", context, status=422 if refused else 200)


def _done(request: HttpRequest, sentence: str) -> HttpResponse:
    messages.success(request, sentence)
    return redirect("account")


def _changed_or_asked(request: HttpRequest, email: str) -> str:
    """Make the change, or ask the guardians of a child; what to say of it."""
    person = request.user
    if not address_changes.needs_guardian(person):
        address_changes.change(person, email)
        return _("From now on you log in with %(email)s.") % {"email": email}
    who = address_changes.ask(person, email, site=request.build_absolute_uri("/").rstrip("/"))
    return _("%(who)s is asked, and has to agree. Until then you log in with %(logs_in_with)s.") % {
        "who": listed(who, "or"),
        "logs_in_with": person.logs_in_with,
    }


def _log_in(request: HttpRequest) -> str:
    return request.build_absolute_uri(reverse("password_by_code"))


def _post_link(request: HttpRequest, email: str) -> None:
    """The same answer whether the address is free; the letter only goes where it is."""
    if Person.objects.filter(email=email).exists():
        return
    person = request.user
    said = {"person": person.pk, "from": person.email, "to": email}
    token = signing.dumps(said, salt=ADDRESS_SALT)
    link = request.build_absolute_uri(reverse("new_address", kwargs={"token": token}))
    letters.post_new_address(email, person.name, link)


def _said_by(token: str) -> dict | None:
    try:
        return signing.loads(token, salt=ADDRESS_SALT, max_age=ADDRESS_LINK_S)
    except signing.BadSignature:
        return None
