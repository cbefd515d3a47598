"""Every page of the studio that shows something, for each who may open it.

The addresses come from the resolver, through the table of who may do what: a new page is
visited without a word here, and one that is missing from the table fails its own test.
"""

from django.contrib.auth.tokens import default_token_generator
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.urls import reverse
from django.utils import timezone
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from studio.accounts import families
from studio.workers import signs
from tests import addresses as matrix
from tests.benchmarks.progressing.pupils import Pupil, year_of
from tests.cast import Cast, make_clip, make_drill, make_return, set_for
from tests.progress.kept_years import keep
from tests.review.heard_clip import heard_clip

# What answers with a file or with figures for a script.
NOT_PAGES = {
    "health",
    "ready",
    "metrics",
    "clip_media",
    "clip_small",
    "clip_poster",
    "clip_peaks",
    "drill_musicxml",
    "assignment_musicxml",
    "batch_before",
    "desk_picture",
    "desk_picture_part",
    "desk_enclosures",
    "desk_frames",
    "desk_target",
    "desk_try_tolerance",
    "enclosure",
    "copy_file",
    "report_file",
    "calendar_feed",
    "manifest",
    "worker",
    "offline_files",
    "script_words",
}
# What answers with a piece of a page, which is looked at within its page.
PIECES = {"desk_standing", "shelf_order", "desk_progress"}

PLAYED_TWICE = 2  # the event with which a run of tests.review.heard_clip begins

TOLD = (  # pages that say what happened instead of what was asked for
    "400.html",
    "403.html",
    "403_csrf.html",
    "404.html",
    "500.html",
    "503.html",
    "accounts/locked_out.html",
    "accounts/no_studio.html",
    "accounts/invitation_gone.html",
    "accounts/new_password_asked.html",
    "accounts/choose_password.html",
    "accounts/new_address.html",
)


def addresses(part: str, world: dict[str, dict]) -> list[str]:
    """The addresses of the pages that ``part`` may open, from all that the resolver knows."""
    pages = [name for name in matrix.patterns() if name not in NOT_PAGES | PIECES]
    return [
        reverse(name, kwargs=world.get(name, {}))
        for name in pages
        if part in (matrix.TABLE[name][0] or ())
    ]


def furnish(cast: Cast) -> dict[str, list[str]]:
    """Give the pages something to show; the addresses of what only then exists, by part."""
    heard = heard_clip(cast.enrolment, "Octaves, heard")
    returned = heard_clip(cast.enrolment, "Octaves, returned")
    make_return(returned)
    make_clip(cast.enrolment, "Not music either", intake="refused", intake_code="not_media")
    moving = make_clip(cast.enrolment, "Moving")
    moving.stages.filter(kind="listening").update(state="working", progress=0.4)
    broken = make_clip(cast.foreign_enrolment, "Broken")
    why = {"failure_code": "crashed", "failure_detail": "signal 9", "attempt": 3}
    broken.stages.filter(kind="small").update(state="failed", **why)
    signs.begin("pictures@here", ["pictures", "sweep"])
    written = make_drill(cast.teacher, cast.studio, "Sixths in words")
    set_for(cast.enrolment, written)
    found = [reverse("clip_page", args=[clip.pk]) for clip in (heard, returned, moving)]
    letter = urlsafe_base64_encode(force_bytes(cast.pupil.pk))
    token = default_token_generator.make_token(cast.pupil)
    played = year_of(Pupil(name="ten weeks", begins_at=40.0, per_week=-2.0, weeks=10), 1)[::3]
    keep(cast.enrolment, played, timezone.localdate() - played[-1].day)
    children = [families.ChildNamed("Runa Falk", 2018), families.ChildNamed("Signe Falk", 2010)]
    _, family = families.invite(
        cast.studio, "Linnea Falk", "linnea@home.example", children, cast.teacher
    )
    return {
        "teacher": [
            *found,
            reverse("desk_preview", args=[heard.pk]),
            reverse("desk_from_here", args=[heard.pk]) + "?mark=0&hear=around-octaves",
            reverse("desk_compare", args=[returned.pk]),
            reverse("desk_playings", args=[heard.pk, PLAYED_TWICE]),
            reverse("drill", args=[written.pk]),
            reverse("rotation", args=[cast.other_enrolment.pk]),  # not begun yet
            reverse("pupil", args=[cast.other_enrolment.pk]),  # nothing sent yet
            reverse("shelf") + "?q=nothing-of-that-name",
        ],
        "pupil": found,
        "guardian": found[1:2],
        "operator": [],
        "anonymous": [
            reverse("choose_password", args=[letter, token]),
            reverse("invitation", args=[family]),
        ],
    }


def told(name: str) -> str:
    """A page that says what happened, as it is sent."""
    return render_to_string(name, {}, request=RequestFactory().get("/"))
