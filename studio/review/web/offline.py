"""What a phone needs to be of use without a line: the installed page, its worker, what is kept.

The browser keeps copies of a few pages of the pupil's, or of the guardian's child: the drills, what
came back last, recording and sending. They are asked for as copies (``headers.is_for_keeping``),
without recordings, and served by the worker (``static/offline/worker.js``) only while there is no
line. Each has a mark made of what stands on it, so that what did not change is not asked for again.
"""

import hashlib
from collections.abc import Iterable
from functools import cache, lru_cache
from pathlib import Path

from csp.constants import HEADER, NONE, SELF
from csp.utils import build_policy
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from studio.accounts import script_words
from studio.accounts.models import Enrolment, Person
from studio.accounts.templatetags.modules import imports_of
from studio.drills.models import Assignment
from studio.review.models import Return

from .shared.ways import home_of, record_at, send_at

RETURNS_KEPT = 3  # newest first
AGAIN_S = 24 * 60 * 60  # what did not change is asked for again after a day: it names days
HOME_AGAIN_S = 60 * 60
DAY_S = 24 * 60 * 60
WORKER_MAY = {"default-src": [NONE], "connect-src": [SELF], "frame-ancestors": [NONE]}

SCRIPTS = (
    *(
        "pages/fresh.js",
        "pages/bars.js",
        "pages/send.js",
        "pages/takes-notice.js",
        "drills/drill-sheet.js",
    ),
    *("recording/clip-recorder.js", "tones/hear-target.js", "offline/kept-page.js"),
    *("offline/no-line.js", "offline/waiting-clips.js", "offline/kept-clips.js"),
    *("practice/practice-note.js", "practice/waiting-entries.js"),
)
STYLES = (
    *("studio.css", "pages/practice.css", "pages/lists.css", "pages/returned.css"),
    *("pages/enclosed.css", "drills/drills.css", "recording/recorder.css", "tones/hear.css"),
    "practice/practice.css",
)
PICTURES = ("mark.svg",)
ICONS = (
    ("mark-192.png", "192x192", "any"),
    ("mark-512.png", "512x512", "any"),
    ("mark-whole.png", "512x512", "maskable"),
)


@login_not_required
@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """W3C Web Application Manifest: the same for everybody."""
    icons = [{"src": static("mark.svg"), "sizes": "any", "type": "image/svg+xml"}] + [
        {"src": static(f"icons/{name}"), "sizes": sizes, "type": "image/png", "purpose": purpose}
        for name, sizes, purpose in ICONS
    ]
    said = {
        "id": "/",
        "name": "Studio",
        "short_name": "Studio",
        "description": _("Practice between lessons: drills, clips and what came back."),
        "lang": "en",
        "dir": "ltr",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#f6f1e6",
        "theme_color": "#f6f1e6",
        "icons": icons,
    }
    response = JsonResponse(said, content_type="application/manifest+json")
    response["Cache-Control"] = f"public, max-age={DAY_S}"
    return response


@login_not_required
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. Its folder is the root, and so is what it may answer for."""
    response = HttpResponse(_worker(), content_type="text/javascript; charset=utf-8")
    response["Cache-Control"] = "no-cache"
    response[HEADER] = build_policy(WORKER_MAY)
    return response


@cache
def _worker() -> str:
    return (Path(settings.BASE_DIR) / "static" / "offline" / "worker.js").read_text("utf-8")


@login_not_required
@require_safe
def no_line(request: HttpRequest) -> HttpResponse:
    """What the worker shows in place of a page that is not kept; of nobody."""
    return render(request, "review/no_line.html")


@login_not_required
@require_safe
def files(request: HttpRequest) -> HttpResponse:
    """The addresses of the scripts and styles that the kept pages need."""
    return JsonResponse({"files": [*map(static, needed()), *script_words.addresses()]})


@cache
def needed() -> tuple[str, ...]:
    """Names of static files: what the kept pages name, and what those modules import."""
    modules = set(SCRIPTS).union(*map(imports_of, SCRIPTS))
    return (*sorted(modules), *STYLES, *PICTURES)


@lru_cache(maxsize=20)
def _files_mark(_storage: str, *words: str) -> str:
    return _mark([*map(static, needed()), *words])


def of_home(
    person: Person,
    place: Enrolment,
    queue: list[Assignment],
    returns: list[Return],
    said: Iterable,
    noted: object = None,
) -> dict:
    """What is kept of a place: for the pupil, or for the guardian of that child.

    ``said`` is what else stands on the home page, in any form that changes with it; ``noted`` the
    same of the page where practice is noted, none where it cannot be.
    """
    simply = place.reads_simply
    newest = [(one.review.clip_id, one.pk, simply, one.read_at) for one in returns[:RETURNS_KEPT]]
    drills = [(one.pk, one.version_id, one.due_on, one.went_well, simply) for one in queue]
    pages = [_page(reverse("assignment", args=[drill[0]]), drill) for drill in drills]
    pages += [_page(reverse("clip_page", args=[one[0]]), one[:3]) for one in newest]
    if sends := send_at(person, place, place.consented):
        pages += [_page(sends, drills), _page(record_at(person, place), drills)]
    if noted:
        pages.append(_page(reverse("practice", args=[place.pk]), [noted, drills, simply]))
        said = [*said, noted]
    home = home_of(person, place)
    return _list(person, home, [_page(home, [drills, newest, *said], HOME_AGAIN_S), *pages])


def of_children(person: Person, places: Iterable[Enrolment], said: Iterable) -> dict:
    """The guardian's page of her children; what is kept of any other child goes."""
    homes = [home_of(person, place) for place in places]
    home = reverse("children")
    pages = [_page(home, [homes, *said], HOME_AGAIN_S)]
    return _list(person, home, pages) | {"homes": homes}


def _list(person: Person, home: str, pages: list[dict]) -> dict:
    mark = _files_mark(settings.STORAGES["staticfiles"]["BACKEND"], *script_words.addresses())
    return {
        "person": person.pk,
        "home": home,
        "files": {"at": reverse("offline_files"), "mark": mark},
        "pages": pages,
    }


def _page(path: str, says: object, again_s: int = AGAIN_S) -> dict:
    return {"path": path, "mark": _mark([str(says)]), "again_s": again_s}


def _mark(texts: Iterable[str]) -> str:
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()[:16]
