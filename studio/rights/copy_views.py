"""Asking for a copy, taking it, and removing it."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from studio.accounts.reauthentication import asks_again
from studio.clips.storage import spool
from studio.clips.views import serve

from . import views
from .copies import services
from .copies.names import in_words


@asks_again
@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """Have a copy made of what ``of`` names."""
    scope = views.scope_named(request, request.POST.get("of", ""))
    try:
        services.begin(scope, request.user)
    except services.NotNow as why:
        return views.page(request, refused=scope.key, sentence=why.sentence, status=409)
    return redirect(f"/rights/#{scope.key}")


@require_safe
def file(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The file, with Range. Who asked for it, and whether she still may, is asked at every one."""
    copy = services.for_download(request.user, pk)
    day = timezone.localtime(copy.ready_at).date().isoformat()
    name = f"{in_words(copy.about.name, 'copy')}-{day}.zip"
    stored = spool.Stored(copy.path, copy.sha256, copy.size_bytes)
    return serve(request, stored, "application/zip", name, attached=True)


@require_POST
def remove(request: HttpRequest, pk: UUID) -> HttpResponse:
    services.remove(request.user, pk)
    messages.success(request, _("The copy was removed."))
    return redirect("rights")
