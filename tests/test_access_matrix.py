"""Every address × GET and POST × everyone: who gets in, and that nobody else does.

The table names, for each address, who may use each method; ``None`` where the method is not
known there. An address that is missing from the table, or that no longer exists, fails.
What is not one's own is always the same 404, so that nobody learns what exists.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from http.cookies import SimpleCookie
from pathlib import Path
from unittest import mock

import pytest
from django.conf import settings as django_settings
from django.core import signing
from django.db import connections, transaction
from django.test import Client, override_settings
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from django_otp.plugins.otp_totp.models import TOTPDevice

from studio.accounts import passwords, second_step
from studio.accounts.account_views import ADDRESS_SALT
from studio.accounts.invitations import invite
from studio.accounts.models import GuardianLink, Membership
from studio.clips.models import Clip, Listening, Rendition, Upload
from studio.clips.uploads import partial
from studio.clips.uploads import services as uploads
from studio.drills.models import ScoreReading
from studio.drills.reading import child
from studio.drills.rotation import services as rotation
from studio.drills.rotation.models import RotationHoliday
from studio.notation import Request, generate
from studio.review import phrases
from studio.review.comments import CommentText, add_comment
from studio.review.marks import hand_marks
from studio.review.marks.hand_marks import HandMarkText
from studio.review.models import EnclosedFile, Enclosure, Review
from tests.cast import PASSWORD, Cast, as_person, make_cast, make_clip, make_drill, set_for
from tests.forms import FORMS

STUDIO_TEACHERS = {"teacher", "colleague"}
TEACHERS = STUDIO_TEACHERS | {"foreign_teacher"}
PUPILS = {"pupil", "other_pupil", "foreign_pupil"}
HOME = {"pupil", "guardian"}
GUARDIANS = {"guardian", "unlinked_guardian"}
SEES = STUDIO_TEACHERS | HOME
OWNERS = {"teacher", "foreign_teacher"}
LOGGED_IN = TEACHERS | PUPILS | GUARDIANS | {"former_pupil", "operator"}
NOT_LOGGED_IN = {"anonymous", "disabled"}
EVERYONE = LOGGED_IN | NOT_LOGGED_IN

NEW_PASSWORD = "open strings ring"
SAYS = {"title": "Sixths", "words": "Slowly", "interval": "6", "key": ""}
SAID = {"kind": "bow", "text": "More", "start_s": "1.0", "form_key": "k", "version": "1"}

MAIL = {"EMAIL_HOST": "mail.example"}
WORKED_OUT = {"title": "Two bars", "key": "", "instrument": "violin", "level": ""}
NOT_OF_A_DRILL = ("drill_new", "drill_make", "drill_import", "drill_reading")

# name: (who may GET, who may POST, what is posted)
TABLE: dict[str, tuple[set | None, set | None, dict]] = {
    "health": (EVERYONE, None, {}),
    "ready": (EVERYONE, None, {}),
    "metrics": (EVERYONE, None, {}),  # from this machine: tests/operations/test_metrics.py
    "home": (LOGGED_IN, None, {}),
    "log_in": (EVERYONE, EVERYONE, {"username": "a@b.example", "password": "none of them"}),
    "log_in_code": (EVERYONE, EVERYONE, {"code": "000000"}),  # it leads back without a password
    "log_out": (None, EVERYONE, {}),  # once the session has run out, too
    "kept_words_forget": (None, LOGGED_IN, {}),
    "account": (LOGGED_IN, None, {}),
    "account_name": (None, LOGGED_IN, {"name": "N"}),
    "account_address": (None, LOGGED_IN, {"email": "m@m.example", "present_password": PASSWORD}),
    "account_password": (
        None,
        LOGGED_IN,
        {"present_password": PASSWORD, "password": NEW_PASSWORD, "again": NEW_PASSWORD},
    ),
    "account_codes": (None, LOGGED_IN, {"present_password": PASSWORD}),
    "account_again": (LOGGED_IN, LOGGED_IN, {"present_password": PASSWORD}),
    "second_step": (None, LOGGED_IN, {"present_password": PASSWORD}),
    "second_step_confirm": (LOGGED_IN, LOGGED_IN, {"code": "000000"}),
    "second_step_codes": (None, {"colleague"}, {"present_password": PASSWORD}),
    "second_step_off": (None, {"colleague"}, {"present_password": PASSWORD}),
    "account_sessions": (None, LOGGED_IN, {"which": "others"}),
    "new_address": ({"pupil"}, {"pupil"}, {}),
    "notice_read": (None, {"pupil"}, {}),
    "uploads": (None, PUPILS, {}),
    "upload": (None, None, {}),
    "clip_media": (SEES, None, {}),
    "clip_small": (SEES, None, {}),
    "clip_poster": (SEES, None, {}),
    "clip_peaks": (SEES, None, {}),
    "consent": (HOME, None, {}),
    "consent_change": ({"guardian"}, {"guardian"}, {"choice": "withdraw"}),
    "child_log_in": ({"guardian"}, {"guardian"}, {"login_name": "mira.s"}),
    "new_password": (EVERYONE, EVERYONE, {"email": "n@n.example"}),
    "choose_password": (EVERYONE, EVERYONE, {}),  # without a letter's link it says so
    "password_by_code": (EVERYONE, EVERYONE, {"email": "n@n.example", "code": "none"}),
    "password_by_link": (EVERYONE, EVERYONE, {"password": NEW_PASSWORD, "again": NEW_PASSWORD}),
    "password_link": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "operator": ({"operator"}, None, {}),
    "operator_try_again": (None, {"operator"}, {"name": "all"}),
    "audit_log": (OWNERS, None, {}),
    "rights": (LOGGED_IN, None, {}),
    "people": (TEACHERS, None, {}),
    "people_invite": (None, TEACHERS, {"name": "N", "email": "n@n.example", "birth_year": "2001"}),
    "invitation_cancel": (None, STUDIO_TEACHERS, {}),
    "guardian_link": (None, TEACHERS, {}),
    "guardian_unlink": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "membership_end": ({"teacher"}, {"teacher"}, {}),  # a colleague's; one's own is out of reach
    "people_answering": (None, TEACHERS, {"answer_within_days": "5", "return_delay_min": "10"}),
    "place_end": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "invitation": (EVERYONE, EVERYONE, {"name": "N", "password": PASSWORD, "again": PASSWORD}),
    "shelf": (TEACHERS, None, {}),
    "drill_new": (TEACHERS, TEACHERS, SAYS),
    "shelf_order": (TEACHERS, TEACHERS, {"order": "sixths", "instrument": "violin"}),
    "drill_make": (TEACHERS, TEACHERS, {}),
    "drill_import": (TEACHERS, TEACHERS, {}),
    "drill_reading": ({"teacher"}, {"teacher"}, {}),
    "drill": (STUDIO_TEACHERS, None, {}),
    "drill_fingers": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "drill_copy": (None, STUDIO_TEACHERS, {}),
    "drill_favourite": (None, STUDIO_TEACHERS, {}),
    "drill_set": (None, STUDIO_TEACHERS, {}),
    "drill_paper": (STUDIO_TEACHERS, None, {}),
    "drill_musicxml": (STUDIO_TEACHERS, None, {}),
    "assignment": (SEES, None, {}),
    "assignment_paper": (SEES, None, {}),
    "assignment_musicxml": (SEES, None, {}),
    "drill_edit": (STUDIO_TEACHERS, STUDIO_TEACHERS, SAYS),
    "drill_archive": (None, STUDIO_TEACHERS, {}),
    "tick_off": (None, HOME, {}),
    "rotation": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "rotation_rhythm": (None, STUDIO_TEACHERS, {}),
    "rotation_holiday": (None, STUDIO_TEACHERS, {}),
    "rotation_holiday_end": (None, STUDIO_TEACHERS, {"version": "1"}),
    "rotation_readiness": (None, STUDIO_TEACHERS, {"version": "1"}),
    "rotation_round_add": (None, STUDIO_TEACHERS, {"version": "1"}),
    "rotation_round": (None, STUDIO_TEACHERS, {}),
    "rotation_order": (None, STUDIO_TEACHERS, {}),
    "rotation_lesson": (STUDIO_TEACHERS, None, {}),
    "rotation_move": (None, STUDIO_TEACHERS, {"version": "1", "way": "end"}),
    "rotation_tick": (None, STUDIO_TEACHERS, {"key": "both"}),
    "rotation_set": (None, STUDIO_TEACHERS, {"drill": "major-octaves"}),
    "rotation_own": (PUPILS, None, {}),
    "rotation_child": ({"guardian"}, None, {}),
    "waiting_list": (TEACHERS, None, {}),
    "batch": (TEACHERS, TEACHERS, {}),
    "batch_before": (TEACHERS, None, {}),
    "waiting_take": (None, STUDIO_TEACHERS, {}),
    "waiting_let_go": (None, STUDIO_TEACHERS, {}),
    "waiting_hand_over": (None, STUDIO_TEACHERS, {"to": "0"}),
    "waiting_snooze": (None, STUDIO_TEACHERS, {"until": "tomorrow"}),
    "return_take_back": (None, STUDIO_TEACHERS, {}),
    "return_send_now": (None, STUDIO_TEACHERS, {}),
    "pupils": (TEACHERS, None, {}),
    "pupil": (STUDIO_TEACHERS, None, {}),
    "pupil_about": (None, STUDIO_TEACHERS, {"level": "growing", "kind": "violin"}),
    "pupil_set_drill": (None, STUDIO_TEACHERS, {}),
    "queue": (PUPILS, None, {}),
    "send": (PUPILS, PUPILS, {}),
    "child_send": ({"guardian"}, {"guardian"}, {}),
    "uploads_for": (None, {"guardian"}, {}),
    "send_logged_in": (PUPILS | {"guardian"}, None, {}),
    "send_arrived": (None, {"pupil"}, {}),
    "send_words": (None, {"pupil"}, {"title": "Sixths"}),
    "send_same": ({"pupil"}, {"pupil"}, {}),
    "send_forget": (None, {"pupil"}, {}),
    "children": (GUARDIANS, None, {}),
    "child": ({"guardian"}, None, {}),
    "clip_page": (SEES, None, {}),
    "clip_put_away": (None, {"pupil"}, {}),
    "desk_picture": (STUDIO_TEACHERS, None, {}),
    "desk_picture_part": (STUDIO_TEACHERS, None, {}),
    "desk_standing": (STUDIO_TEACHERS, None, {}),
    "desk_frames": (STUDIO_TEACHERS, None, {}),
    "desk_keys": (None, TEACHERS, {"keys": "{}"}),
    "desk_progress": (STUDIO_TEACHERS, None, {}),
    "desk_decide": (None, STUDIO_TEACHERS, {"choice": "kept", "listening": "1"}),
    "desk_settle_old": (None, STUDIO_TEACHERS, {}),
    "desk_decide_kind": (
        None,
        STUDIO_TEACHERS,
        {"kind": "interval_wide:P8", "choice": "kept", "listening": "1"},
    ),
    "desk_undo": (None, STUDIO_TEACHERS, {}),
    "desk_target": (set(), None, {}),  # nothing was heard of this clip
    "desk_compare": (STUDIO_TEACHERS, None, {}),
    "desk_together": (STUDIO_TEACHERS, None, {}),
    "desk_playings": (set(), None, {}),  # nothing was heard of this clip
    "desk_tolerance": (None, STUDIO_TEACHERS, {"perfect": "9", "other": "12"}),
    "desk_try_tolerance": (STUDIO_TEACHERS, None, {}),
    "desk_mark_add": (None, STUDIO_TEACHERS, {"words": "W", "start_s": "1", "end_s": "2"}),
    "desk_mark_edit": (None, STUDIO_TEACHERS, {"words": "W", "start_s": "1", "end_s": "2"}),
    "desk_mark_delete": (None, STUDIO_TEACHERS, {}),
    "precision": (TEACHERS, None, {}),
    "phrases": (TEACHERS, TEACHERS, {"kind": "bow", "text": "More bow"}),
    "phrase": ({"teacher"}, {"teacher"}, {"kind": "bow", "text": "More bow"}),
    "phrase_delete": (None, {"teacher"}, {}),
    "phrase_move": (None, {"teacher"}, {"way": "up"}),
    "desk_phrases": (STUDIO_TEACHERS, None, {}),
    "desk_comment_add": (None, STUDIO_TEACHERS, SAID),
    "desk_comment_edit": (None, STUDIO_TEACHERS, SAID),
    "desk_comment_delete": (None, STUDIO_TEACHERS, {}),
    "desk_enclosure_add": (None, STUDIO_TEACHERS, {}),
    "desk_enclosure_remove": (None, STUDIO_TEACHERS, {}),
    "desk_draw_again": (None, STUDIO_TEACHERS, {}),
    "desk_enclosures": (STUDIO_TEACHERS, None, {}),
    # The pupil and the guardian reach it once it is returned: tests/review/enclosures.
    "enclosure": (STUDIO_TEACHERS, None, {}),
    "desk_set_drill": (None, STUDIO_TEACHERS, {}),
    "desk_from_here": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "desk_new_drill": (None, STUDIO_TEACHERS, {"title": "Sixths", "words": "Slowly"}),
    "desk_unset_drill": (None, STUDIO_TEACHERS, {}),
    "desk_summary": (None, STUDIO_TEACHERS, {"summary": "Steadier"}),
    "desk_propose": (None, STUDIO_TEACHERS, {"summary": ""}),
    "desk_preview": (STUDIO_TEACHERS, None, {}),
    "desk_return": (None, STUDIO_TEACHERS, {"seen": "x"}),
}
NOT_ALLOWED = 405
OPEN = {"log_in", "log_out", "health", "ready", "metrics"}  # without a log-in
ON_A_CLIP = ("clip_", "desk_", "return_", "waiting_")


def read_for(cast) -> ScoreReading:
    """A page of music that was read for the teacher, and is not yet on the shelf."""
    music = Path(__file__).parent / "forms" / "two-bars.musicxml"
    return ScoreReading.objects.create(
        studio=cast.studio,
        person=cast.teacher,
        filename=music.name,
        content=music.read_bytes(),
        state=ScoreReading.State.READ,
        result=child.read(str(music), "", "two-bars") | WORKED_OUT,
    )


def patterns(found=None) -> dict[str, URLPattern]:
    """Every address of the project by its name."""
    by_name: dict[str, URLPattern] = {}
    for pattern in get_resolver().url_patterns if found is None else found:
        if isinstance(pattern, URLResolver):
            by_name |= patterns(pattern.url_patterns)
        else:
            by_name[pattern.name or str(pattern.pattern)] = pattern
    return by_name


@pytest.fixture
def world(cast, settings, tmp_path) -> dict[str, dict]:
    settings.MAIL = MAIL
    settings.MEDIA_ROOT = tmp_path
    return furnished(cast, tmp_path)


def furnished(cast, folder: Path) -> dict[str, dict]:
    """Mira's clip, her drill and everything on them: the arguments of each address."""
    clip = make_clip(cast.enrolment)
    for kind in Rendition.Kind:
        (folder / kind.value).write_bytes(b"something")
        Rendition.objects.create(
            clip=clip, kind=kind, path=kind.value, size_bytes=9, content_type="video/mp4"
        )
    (folder / "reply").write_bytes(b"something")
    score = generate(Request(direction="up", manner="together")).to_dict()
    drill = make_drill(cast.teacher, cast.studio, score=score)
    assignment = set_for(cast.enrolment, drill)
    review = Review.objects.get(clip=clip)
    hand = hand_marks.add(review, cast.teacher, HandMarkText("W", 1.0, 2.0), "")
    comment = add_comment(review, cast.teacher, CommentText("bow", "Less", 1.0))
    reply = Enclosure.objects.create(comment=comment, kind="voice", state="ready", duration_s=3.0)
    drawing = Enclosure.objects.create(comment=comment, kind="drawing", info={"aspect": 0.75})
    EnclosedFile.objects.create(
        **{"enclosure": reply, "clip": clip, "kind": "shown", "path": "reply"},
        **{"size_bytes": 9, "content_type": "audio/mp4"},
    )
    invitation, secret = invite(cast.studio, "pupil", "N", "n@n.example", by=cast.teacher)
    today = timezone.localdate()
    plan = rotation.begin(cast.enrolment, cast.teacher, today)
    on_plan = {"pk": cast.enrolment.pk}
    on_round = on_plan | {"number": 1}
    on_lesson = on_plan | {"lesson_pk": plan.rounds.get(number=1).lessons.first().pk}
    free = RotationHoliday.objects.create(rotation=plan, first_on=today, last_on=today)
    phrase = phrases.add(cast.teacher, cast.studio, "bow", "More weight")
    _, opens = passwords.make_link(cast.pupil, by=cast.teacher)
    notice = cast.pupil.notices.get()
    second_step.begin(cast.teacher)
    TOTPDevice.objects.create(user=cast.colleague, name="on", confirmed=True)
    said = {"person": cast.pupil.pk, "from": cast.pupil.email, "to": "p@p.example"}
    half = uploads.begin(cast.enrolment, cast.pupil, 9, "half.mp4")
    refused = make_clip(cast.enrolment, "Not music", intake="refused", intake_code="not_media")
    on_clip = {"clip_id": clip.pk}
    return {
        **{
            name: {"pk": drill.pk}
            for name in TABLE
            if name.startswith("drill") and name not in NOT_OF_A_DRILL
        },
        **{
            name: {"pk": assignment.pk}
            for name in ("assignment", "assignment_paper", "assignment_musicxml", "tick_off")
        },
        **{
            name: {"pk": cast.enrolment.pk} for name in ("pupil", "pupil_about", "child", "consent")
        },
        "pupil_set_drill": {"pk": cast.enrolment.pk},
        "child_log_in": {"pk": cast.enrolment.pk},
        "child_send": {"pk": cast.enrolment.pk},
        "uploads_for": {"place_pk": cast.enrolment.pk},
        "drill_reading": {"reading_id": read_for(cast).pk},
        "choose_password": {"uidb64": "MQ", "token": "no-letter"},
        "password_by_link": {"secret": opens},
        "password_link": {"pk": cast.enrolment.pk},
        "notice_read": {"pk": notice.pk},
        "new_address": {"token": signing.dumps(said, salt=ADDRESS_SALT)},
        "people_invite": {"role": "pupil"},
        "invitation": {"secret": secret},
        "invitation_cancel": {"pk": invitation.pk},
        "guardian_unlink": {"pk": GuardianLink.objects.get(guardian=cast.guardian).pk},
        "membership_end": {"pk": Membership.objects.get(person=cast.colleague).pk},
        "place_end": {"pk": cast.enrolment.pk},
        "consent_change": {"pk": cast.enrolment.pk, "purpose": "recordings"},
        **{name: on_clip for name in TABLE if name.startswith(ON_A_CLIP)},
        **{name: on_clip for name in TABLE if name.startswith(("clip_", "desk_"))},
        "desk_keys": {},
        **{name: {"pk": phrase.pk} for name in ("phrase", "phrase_delete", "phrase_move")},
        # The other methods of an upload are tried in tests/clips/uploads/test_uploads.py.
        **{
            name: {"upload_id": half.pk}
            for name in ("upload", "send_arrived", "send_words", "send_forget")
        },
        "send_same": {"upload_id": sent_before(clip).pk},
        "clip_put_away": {"clip_id": refused.pk},
        **{name: on_plan for name in TABLE if name.startswith("rotation")},
        "rotation_own": {},
        "waiting_list": {},
        **dict.fromkeys(("rotation_round", "rotation_order"), on_round),
        **{f"rotation_{name}": on_lesson for name in ("lesson", "move", "tick", "set")},
        "rotation_holiday_end": on_plan | {"holiday_pk": free.pk},
        "desk_target": on_clip | {"event": 0},
        "desk_playings": on_clip | {"event": 0},
        "desk_picture_part": on_clip | {"part": 0},
        "desk_decide": on_clip | {"mark_id": 0},
        "desk_settle_old": on_clip | {"decision_id": 0},
        **dict.fromkeys(("desk_mark_edit", "desk_mark_delete"), on_clip | {"mark_id": hand.pk}),
        "desk_comment_edit": on_clip | {"comment_id": comment.pk},
        "desk_comment_delete": on_clip | {"comment_id": comment.pk},
        "desk_enclosure_add": on_clip | {"comment_id": comment.pk},
        "desk_draw_again": on_clip | {"enclosure_id": drawing.pk},
        "desk_enclosure_remove": on_clip | {"enclosure_id": reply.pk},
        "enclosure": on_clip | {"enclosure_id": reply.pk},
        "desk_unset_drill": on_clip | {"assignment_id": assignment.pk},
    }


def sent_before(clip: Clip) -> Upload:
    """The same recording once more, which its pupil has yet to decide about."""
    upload = uploads.begin(clip.enrolment, clip.enrolment.pupil, 1, "")
    partial.path(upload.pk).write_bytes(b"x")
    Upload.objects.filter(pk=upload.pk).update(offset_bytes=1, same_as=clip)
    return upload


def test_every_address_is_in_the_table():
    assert set(patterns()) == set(TABLE)


def test_every_address_that_takes_a_post_is_tried_in_a_browser():
    """With input that it takes and with input that it refuses: tests/browser/test_every_form.py."""
    assert {name for name, (_, may_post, _) in TABLE.items() if may_post} == set(FORMS)
    assert not [name for name, forms in FORMS.items() if not forms]
    assert not [name for name, forms in FORMS.items() for form in forms if not form.is_refused]


@dataclass(frozen=True)
class Everyone:
    """A studio with something at every address, and the cookies of all who are logged in."""

    cast: Cast
    world: dict[str, dict]
    cookies: dict[str, SimpleCookie]

    def browser_of(self, part: str) -> Client:
        browser = Client()
        browser.cookies.load({name: one.value for name, one in self.cookies[part].items()})
        return browser


@pytest.fixture(scope="module")
def everyone(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[Everyone]:
    """Made once: each try is undone, and in the end all of it."""
    folder = tmp_path_factory.mktemp("media")
    with (
        django_db_blocker.unblock(),
        override_settings(MAIL=MAIL, MEDIA_ROOT=folder),
        transaction.atomic(),
        # Each test closes it at its end, which would end the transaction round them all.
        mock.patch.object(connections["default"], "close"),
    ):
        cast = make_cast()
        people = {"anonymous": None} | cast.people()
        assert set(people) == EVERYONE
        # Before the rest: to log in makes links for a new password void.
        cookies = {part: as_person(who).cookies for part, who in people.items()}
        yield Everyone(cast, furnished(cast, folder), cookies)
        transaction.set_rollback(True)


@pytest.mark.django_db
@pytest.mark.parametrize("name", TABLE)
def test_reading(everyone, name):
    check(everyone, "GET", name)


@pytest.mark.django_db
@pytest.mark.parametrize("name", TABLE)
def test_writing(everyone, name):
    check(everyone, "POST", name)


def check(everyone: Everyone, method: str, name: str) -> None:
    """What each person gets is what the table says; no person's try changes the next one's."""
    may, posted = TABLE[name][method == "POST"], TABLE[name][2]
    address = reverse(name, kwargs=everyone.world.get(name, {}))
    got = {
        part: outcome(everyone.browser_of(part), method, address, posted)
        for part in everyone.cookies
    }
    assert got == {part: expected(part, may, name) for part in everyone.cookies}


def outcome(client: Client, method: str, address: str, posted: dict) -> str:
    with transaction.atomic():
        answer = (
            client.generic(method, address) if method == "GET" else client.post(address, posted)
        )
        transaction.set_rollback(True)
    if answer.status_code == 302 and answer.url.startswith(f"{django_settings.LOGIN_URL}?next="):
        return "log in"
    if answer.status_code == 401:  # said to a script, which cannot go to a page and log in
        return "log in"
    lets_its_origin_be_known(answer)
    if answer.status_code in (404, NOT_ALLOWED):
        return str(answer.status_code)
    assert answer.status_code < 500
    assert answer.status_code != 403
    return "in"


def lets_its_origin_be_known(answer) -> None:
    """A browser posts from a page of this policy with ``Origin: null``, which is refused.

    Every page is one to post from: it holds a form, or a form's answer, or the way to log out.
    """
    if answer.get("Content-Type", "").startswith("text/html") and answer.content:
        assert answer["Referrer-Policy"] != "no-referrer"


def expected(part: str, may: set | None, name: str) -> str:
    if may is not None and part in may:
        return "in"
    if part in NOT_LOGGED_IN and name not in OPEN:
        return "log in"
    return str(NOT_ALLOWED) if may is None else "404"


@pytest.mark.django_db
def test_what_is_heard_and_decided_is_reached_only_through_the_own_studio(everyone):
    """A mark's address with a real listening, so that a foreign 404 is not one of no mark."""
    where = everyone.world["desk_decide"]
    Listening.objects.create(
        clip_id=where["clip_id"], engine="0", options={}, input_sha256="", measurement={}
    )
    address = reverse("desk_decide", kwargs=where)
    for part in LOGGED_IN - STUDIO_TEACHERS:
        answer = everyone.browser_of(part).post(address, {"choice": "kept"})
        assert answer.status_code == 404
