"""The page of a teacher's templates of summaries, beside her phrases."""

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from studio.accounts import access as people
from studio.accounts.models import Studio
from studio.review import access, summary_templates
from studio.review.models import SummaryTemplate
from studio.translating import gettext_lazy


class TemplateForm(forms.ModelForm):
    class Meta:
        model = SummaryTemplate
        fields = ["name", "text"]
        labels = {"name": gettext_lazy("Name"), "text": gettext_lazy("Words of the summary")}
        widgets = {"text": forms.Textarea(attrs={"rows": 5})}

    def clean_name(self) -> str:
        """Another of one's own templates keeps its name to itself."""
        name, one = self.cleaned_data["name"], self.instance
        others = SummaryTemplate.objects.filter(author=one.author_id, studio=one.studio_id)
        if one.pk and others.filter(name=name).exclude(pk=one.pk).exists():
            raise ValidationError(_("Another template has this name. Choose another one."))
        return name


@require_http_methods(["GET", "HEAD", "POST"])
def shelf(request: HttpRequest) -> HttpResponse:
    """All templates, and a form for one more; or those to begin with, made one's own."""
    studio = people.teaching_studio(request.user)
    if request.POST.get("way") == "begin":
        summary_templates.begin(request.user, studio)
        messages.success(request, _("The three templates are yours now. Change them as you like."))
        return redirect("summary_templates")
    form = TemplateForm(request.POST or None)
    if form.is_valid() and _added(form, request, studio):
        return redirect("summary_templates")
    own = access.summary_templates_of(request.user, studio)
    return _render(request, form, list(own))


def _added(form: TemplateForm, request: HttpRequest, studio: Studio) -> bool:
    said = form.cleaned_data
    try:
        summary_templates.add(request.user, studio, said["name"], said["text"])
    except summary_templates.Full as full:
        form.add_error(None, str(full))
        return False
    messages.success(request, _("The template is saved."))
    _say_unknown(request, said["text"])
    return True


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Other words for a template; summaries that were begun with it stay as they are."""
    template = access.summary_template_for(request.user, pk)
    form = TemplateForm(request.POST or None, instance=template)
    if form.is_valid():
        form.save()
        messages.success(request, _("The template is saved."))
        _say_unknown(request, template.text)
        return redirect("summary_templates")
    return _render(request, form, template=template)


@require_POST
def delete(request: HttpRequest, pk: int) -> HttpResponse:
    access.summary_template_for(request.user, pk).delete()
    messages.success(request, _("The template is deleted. Summaries begun with it stay."))
    return redirect("summary_templates")


def _say_unknown(request: HttpRequest, text: str) -> None:
    unknown = summary_templates.unknown_places(text)
    if unknown:
        names = ", ".join(f"{{{name}}}" for name in unknown)
        messages.warning(
            request, _("%(names)s is not filled in: it stays as you typed it.") % {"names": names}
        )


def _render(request: HttpRequest, form: TemplateForm, standing=(), template=None) -> HttpResponse:
    context = {
        "area": "teacher",
        "form": form,
        "template": template,
        "templates": standing,
        "starters": [] if standing or template else summary_templates.offered([]),
        "places": summary_templates.PLACES,
    }
    status = 422 if form.errors else 200
    return render(request, "review/summary_templates.html", context, status=status)
