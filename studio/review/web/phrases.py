"""The phrase shelf's own page: a teacher's phrases in a studio, in the order they are offered."""

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from studio.accounts import access as people
from studio.review import access, phrases
from studio.review.models import Comment, Phrase
from studio.translating import gettext_lazy


class PhraseForm(forms.ModelForm):
    class Meta:
        model = Phrase
        fields = ["text", "kind"]
        labels = {"text": gettext_lazy("What you say"), "kind": gettext_lazy("Kind of comment")}
        widgets = {"text": forms.Textarea(attrs={"rows": 3})}

    def clean_text(self) -> str:
        text = self.cleaned_data["text"]
        unknown = phrases.unknown_places(text)
        if unknown:
            known = ", ".join(f"{{{name}}}" for name in phrases.PLACES)
            raise ValidationError(
                _("{%(unknown)s} is not known here. Use one of %(known)s.")
                % {"unknown": unknown[0], "known": known}
            )
        return text


@require_http_methods(["GET", "HEAD", "POST"])
def shelf(request: HttpRequest) -> HttpResponse:
    """All phrases, and a form for one more; ``?text=`` and ``?kind=`` fill it in."""
    studio = people.teaching_studio(request.user)
    begun = {
        "text": request.GET.get("text", "")[:400],
        "kind": request.GET.get("kind") or Comment.Kind.INTONATION,
    }
    form = PhraseForm(request.POST or None, initial=begun)
    if form.is_valid() and _added(form, request, studio):
        return redirect("phrases")
    return _render(request, form, list(access.phrases_of(request.user, studio)))


def _added(form: PhraseForm, request: HttpRequest, studio) -> bool:
    said = form.cleaned_data
    try:
        phrases.add(request.user, studio, said["kind"], said["text"])
    except phrases.Full as full:
        form.add_error(None, str(full))
        return False
    messages.success(request, _("The phrase is on your shelf."))
    return True


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Other words for a phrase; comments that were made with it stay as they are."""
    phrase = access.phrase_for(request.user, pk)
    form = PhraseForm(request.POST or None, instance=phrase)
    if form.is_valid():
        form.save()
        messages.success(request, _("The phrase is saved."))
        return redirect("phrases")
    return _render(request, form, phrase=phrase)


@require_POST
def delete(request: HttpRequest, pk: int) -> HttpResponse:
    access.phrase_for(request.user, pk).delete()
    messages.success(request, _("The phrase is deleted. Comments made with it stay."))
    return redirect("phrases")


@require_POST
def move(request: HttpRequest, pk: int) -> HttpResponse:
    phrase = access.phrase_for(request.user, pk)
    standing = access.phrases_of(request.user, phrase.studio)
    phrases.move(phrase, standing, up=request.POST.get("way") == "up")
    return redirect("phrases")


def _render(request: HttpRequest, form: PhraseForm, standing=(), phrase=None) -> HttpResponse:
    context = {
        "area": "teacher",
        "form": form,
        "phrase": phrase,
        "phrases": standing,
        "places": phrases.PLACES,
    }
    return render(request, "review/phrases.html", context, status=422 if form.errors else 200)
