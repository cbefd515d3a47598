"""Asking from home, and answering: one page for each question, which everybody reads whole."""

from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Enrolment, Person
from studio.drills import access as drills
from studio.review import access, questions
from studio.review.models import Question, QuestionEntry
from studio.review.questions import About
from studio.translating import gettext_lazy

from .shared.moments import moments
from .shared.ways import home_of

MOST_MOMENTS = 10_000  # of one clip: more is no moment's number


class SayForm(forms.Form):
    """Words, and what they are about as the page's address said it."""

    text = forms.CharField(
        label=gettext_lazy("Your words"),
        max_length=QuestionEntry.LONGEST,
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"required": gettext_lazy("Write what you want to ask or say.")},
    )
    form_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)


@require_http_methods(["GET", "HEAD", "POST"])
def ask(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask the teacher: about a moment (``?clip=&moment=``), a drill (``?drill=``), or anything."""
    enrolment = people.home_enrolment(request.user, pk)
    about = _about(request, enrolment)
    form = SayForm(request.POST or None, initial={"form_key": uuid4().hex})
    form.fields["text"].label = _("Your question")
    if form.is_valid():
        said = form.cleaned_data
        try:
            asked = questions.ask(enrolment, request.user, said["text"], about, said["form_key"])
        except questions.TooMany as many:
            form.add_error(None, str(many))
        else:
            messages.success(
                request,
                _("Sent. %(teacher)s will find it with the clips.")
                % {"teacher": enrolment.teacher},
            )
            return redirect("question", pk=asked.pk)
    own = enrolment.pupil_id == request.user.pk
    context = {
        "area": "pupil" if own else "guardian",
        "enrolment": enrolment,
        "about": about,
        "form": form,
        "back": home_of(request.user, enrolment),
    }
    return render(request, "review/ask.html", context, status=422 if form.errors else 200)


@require_POST
def worked(request: HttpRequest, pk: int) -> HttpResponse:
    """Tell that it was worked on, by one press; it is no question."""
    enrolment = people.home_enrolment(request.user, pk)
    about = _about(request, enrolment)
    key = request.POST.get("form_key", "")[:64]
    try:
        questions.tell_worked(enrolment, request.user, "", about, key)
    except questions.TooMany as many:
        messages.warning(request, str(many))
    else:
        messages.success(
            request,
            _("%(teacher)s can see that you have worked on it.") % {"teacher": enrolment.teacher},
        )
    if about.clip:
        return redirect("clip_page", clip_id=about.clip.pk)
    if about.assignment:
        return redirect("assignment", pk=about.assignment.pk)
    return redirect(home_of(request.user, enrolment))


@require_http_methods(["GET", "HEAD", "POST"])
def question(request: HttpRequest, pk: int) -> HttpResponse:
    """All that was said, and a field for more: the teacher's answer, or a word from home."""
    asked = access.question_for(request.user, pk)
    area = _area(request.user, asked.enrolment)
    form = SayForm(request.POST or None, initial={"form_key": uuid4().hex})
    form.fields["text"].label = _("Your answer") if area == "teacher" else _("Say more")
    ended = not people.is_current(asked.enrolment)
    if request.method == "POST" and ended:
        raise Http404
    if form.is_valid() and _said(form, request, asked, area):
        return redirect("question", pk=pk)
    if area != "teacher" and _reads(request.user, asked.enrolment):
        questions.note_read(asked)
    context = {
        "area": area,
        "question": asked,
        "enrolment": asked.enrolment,
        "entries": asked.entries.select_related("author"),
        "form": None if ended else form,
        "back": "" if area == "teacher" else home_of(request.user, asked.enrolment),
    }
    return render(request, "review/question.html", context, status=422 if form.errors else 200)


@require_POST
def rest(request: HttpRequest, pk: int) -> HttpResponse:
    """The teacher needs to say nothing to it."""
    asked = access.question_for(request.user, pk)
    if _area(request.user, asked.enrolment) != "teacher":
        raise Http404
    questions.let_rest(asked)
    messages.success(request, _("It waits no longer. The question stays readable."))
    return redirect("waiting_list")


def _said(form: SayForm, request: HttpRequest, asked: Question, area: str) -> bool:
    said, by_teacher = form.cleaned_data, area == "teacher"
    try:
        questions.say(asked, request.user, said["text"], said["form_key"], by_teacher=by_teacher)
    except questions.TooMany as many:
        form.add_error(None, str(many))
        return False
    messages.success(request, _("Your answer can be read now.") if by_teacher else _("Sent."))
    return True


def _area(person: Person, enrolment: Enrolment) -> str:
    if enrolment.pupil_id == person.pk:
        return "pupil"
    return "teacher" if people.teaches(person, enrolment) else "guardian"


def _reads(person: Person, enrolment: Enrolment) -> bool:
    """The pupil reads her own answers; her guardian does for a child who does not log in."""
    return enrolment.pupil_id == person.pk or not enrolment.pupil.logs_in_with


def _about(request: HttpRequest, enrolment: Enrolment) -> About:
    """What the address says it is about; 404 where that is not this place's, or not returned."""
    said = request.GET
    if "drill" in said:
        number = figures.whole(said["drill"], high=2**31)
        assignment = drills.home_assignment(request.user, number or 0)
        if assignment.enrolment_id != enrolment.pk:
            raise Http404
        return About(assignment=assignment)
    if "clip" not in said:
        return About()
    return _about_clip(request, enrolment)


def _about_clip(request: HttpRequest, enrolment: Enrolment) -> About:
    try:
        clip_id = UUID(request.GET["clip"])
    except ValueError:
        raise Http404 from None
    returned = access.return_for(request.user, clip_id)
    clip = returned.review.clip
    if clip.enrolment_id != enrolment.pk:
        raise Http404
    at_home = enrolment.pupil_id != request.user.pk
    placed = moments(returned.snapshot, clip.duration_s, for_guardian=at_home)
    number = figures.whole(request.GET.get("moment", ""), high=MOST_MOMENTS)
    if number is None or number >= len(placed):
        return About(clip=clip)
    return About(clip=clip, at_s=placed[number]["start_s"], quoted=placed[number]["text"])
