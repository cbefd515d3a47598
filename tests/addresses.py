"""Every address: who may read it, who may write to it, what is posted, and a studio with them all.

The table names, for each address, who may use each method; ``None`` where the method is not
known there. An address that is missing from the table, or that no longer exists, fails
(``tests/test_access_matrix.py``).
"""

from collections.abc import Iterable
from datetime import date
from pathlib import Path

import pytest
from django.conf import settings
from django.core import signing
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone
from django_otp.plugins.otp_totp.models import TOTPDevice

from studio.accounts import address_changes, calendar_feeds, passwords, second_step
from studio.accounts.account_views import ADDRESS_SALT
from studio.accounts.invitations import invite
from studio.accounts.models import Enrolment, GuardianLink, LessonsEnd, Membership
from studio.accounts.notifications import unsubscribing
from studio.clips.models import Clip, Rendition, Upload, version_of
from studio.clips.uploads import partial
from studio.clips.uploads import services as uploads
from studio.drills.lessons import services as lessons
from studio.drills.models import Assignment, Drill, ScoreReading
from studio.drills.practice import services as practice
from studio.drills.practice.services import Practised
from studio.drills.reading import child
from studio.drills.rotation import services as rotation
from studio.drills.rotation.models import RotationHoliday
from studio.intonation import ENGINE
from studio.notation import Request, generate
from studio.progress.models import ReportPrint, TermReport
from studio.progress.reports.contents import contents_of
from studio.review import phrases, questions, summary_templates
from studio.review.comments import CommentText, add_comment
from studio.review.marks import hand_marks
from studio.review.marks.hand_marks import HandMarkText
from studio.review.models import AuditMoment, AuditRound, EnclosedFile, Enclosure, Review
from studio.review.questions import About
from studio.rights.models import Copy, ErasureJob
from tests.cast import PASSWORD, Cast, make_clip, make_drill, plan_lessons, set_for

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

PERIOD = {"since": "2026-09-01", "until": "2026-11-01"}
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
    "account_address_take_back": (None, LOGGED_IN, {}),
    "answer_address": ({"guardian"}, {"guardian"}, {"choice": "decline"}),
    "new_address": ({"pupil"}, {"pupil"}, {}),
    "notice_read": (None, {"pupil"}, {}),
    "told": (LOGGED_IN, None, {}),
    "told_seen": (None, LOGGED_IN, {"which": "all"}),
    "told_child": ({"guardian"}, None, {}),
    "telling": (LOGGED_IN, LOGGED_IN, {"page-set": "on"}),
    "telling_times": (
        None,
        LOGGED_IN,
        {
            **{"pace": "daily", "hour": "17", "weekday": "0", "quiet_from": "21"},
            **{"quiet_until": "7", "time_zone": "Europe/Berlin"},
        },
    ),
    "calendar_make": (None, LOGGED_IN, {}),
    "calendar_end": (None, LOGGED_IN, {}),
    "calendar_feed": (EVERYONE, None, {}),  # whoever has its secret
    "letters_off": (
        EVERYONE,
        EVERYONE,
        {"List-Unsubscribe": "One-Click"},
    ),  # whoever has the letter
    "letters_on": (None, EVERYONE, {}),
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
    "times": (
        OWNERS,
        OWNERS,
        {
            **{"recordings": "365", "figures": "never", "drills": "never", "after_end": "never"},
            **{"log": "never", "sure": "yes"},
        },
    ),
    "rights": (LOGGED_IN, None, {}),
    "copy_begin": (None, LOGGED_IN, {"of": "account"}),
    "copy_file": ({"guardian"}, None, {}),  # she asked for it
    "copy_remove": (None, {"guardian"}, {}),
    "erase_account": (LOGGED_IN, LOGGED_IN, {}),  # who may not is told whom to ask
    "erase_lessons": ({"guardian"}, {"guardian"}, {}),
    "erase_clip": ({"guardian"}, {"guardian"}, {}),
    "kept_clips": ({"guardian"}, None, {}),
    "kept_lessons": (HOME, None, {}),
    "lessons_end": ({"guardian"}, {"guardian"}, {}),
    "lessons_take_back": (None, {"guardian"}, {}),
    "lessons_elsewhere": ({"guardian"}, None, {}),
    "erasure": (EVERYONE, None, {}),  # its address is a secret, and it names nobody
    "people": (TEACHERS, None, {}),
    "people_invite_family": (
        None,
        TEACHERS,
        {"name": "N", "email": "n@n.example", "child0-name": "M", "child0-birth_year": "2019"},
    ),
    "people_own_login": (None, TEACHERS, {"own_login_age": "13"}),
    "people_invite": (None, TEACHERS, {"name": "N", "email": "n@n.example", "birth_year": "2001"}),
    "invitation_cancel": (None, STUDIO_TEACHERS, {}),
    "guardian_link": (None, TEACHERS, {}),
    "guardian_unlink": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "membership_end": ({"teacher"}, {"teacher"}, {}),  # a colleague's, by the owner
    "membership_leave": (TEACHERS, TEACHERS, {}),  # an owner reads what to do first
    "pupils_hand_over": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),  # the colleague's
    "studio_owner": (OWNERS, OWNERS, {}),
    "studio_close": (OWNERS, OWNERS, {}),
    "people_answering": (None, TEACHERS, {"answer_within_days": "5", "return_delay_min": "10"}),
    "place_end": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "place_take_back": (None, STUDIO_TEACHERS, {}),
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
    "drill_several": (STUDIO_TEACHERS, STUDIO_TEACHERS, {}),
    "drill_paper": (STUDIO_TEACHERS, None, {}),
    "drill_musicxml": (STUDIO_TEACHERS, None, {}),
    "ask": (HOME, HOME, {"text": "How?"}),
    "worked": (None, HOME, {}),
    "simple_reading": (None, STUDIO_TEACHERS | {"guardian"}, {"simply": "1"}),
    "question": (SEES, SEES, {"text": "So."}),
    "question_rest": (None, STUDIO_TEACHERS, {}),
    "practice": (SEES, HOME, {"minutes": "15", "day": f"{timezone.localdate()}"}),
    "practice_entry": (
        {"pupil"},
        {"pupil"},
        {"minutes": "20", "day": f"{timezone.localdate()}"},
    ),  # her own
    "practice_entry_delete": (None, {"pupil"}, {}),
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
    "rotation_lists": (None, STUDIO_TEACHERS, {"version": "1"}),
    "rotation_start": (None, STUDIO_TEACHERS, {"version": "1"}),
    "rotation_round_end": (None, STUDIO_TEACHERS, {"version": "1"}),
    "rotation_round_add": (None, STUDIO_TEACHERS, {"version": "1"}),
    "rotation_round": (None, STUDIO_TEACHERS, {}),
    "rotation_order": (None, STUDIO_TEACHERS, {}),
    "rotation_lesson": (STUDIO_TEACHERS, None, {}),
    "rotation_move": (None, STUDIO_TEACHERS, {"version": "1", "way": "end"}),
    "rotation_tick": (None, STUDIO_TEACHERS, {"key": "all"}),
    "rotation_set": (None, STUDIO_TEACHERS, {"drill": "G-major-octaves"}),
    "rotation_own": (PUPILS, None, {}),
    "rotation_child": ({"guardian"}, None, {}),
    "lesson_notes": (STUDIO_TEACHERS, STUDIO_TEACHERS, {"held_on": "2026-11-02", "text": "N"}),
    "lesson_note": (
        STUDIO_TEACHERS,
        STUDIO_TEACHERS,
        {"held_on": "2026-11-02", "text": "N", "version": "1"},
    ),
    "lesson_note_agreed": (None, STUDIO_TEACHERS, {"line": "Octaves every day"}),
    "lesson_note_delete": (None, STUDIO_TEACHERS, {}),
    "lesson_week": (TEACHERS, None, {}),
    "lesson_plan": (TEACHERS, TEACHERS, {}),
    "planned_lesson": (STUDIO_TEACHERS, STUDIO_TEACHERS, {"sequence": "0"}),
    "planned_lesson_cancel": (None, STUDIO_TEACHERS, {"sequence": "0", "whether": "one"}),
    "lesson_import": (TEACHERS, TEACHERS, {}),
    "lesson_import_take": (None, TEACHERS, {}),
    "waiting_list": (TEACHERS, None, {}),
    "batch": (TEACHERS, TEACHERS, {}),
    "batch_before": (TEACHERS, None, {}),
    "waiting_take": (None, STUDIO_TEACHERS, {}),
    "waiting_let_go": (None, STUDIO_TEACHERS, {}),
    "waiting_hand_over": (None, STUDIO_TEACHERS, {"to": "0"}),
    "waiting_snooze": (None, STUDIO_TEACHERS, {"until": "tomorrow"}),
    "return_take_back": (None, STUDIO_TEACHERS, {}),
    "return_send_now": (None, STUDIO_TEACHERS, {}),
    "overview": (TEACHERS, None, {}),
    "search": (TEACHERS, None, {}),
    "pupils": (TEACHERS, None, {}),
    "pupil": (STUDIO_TEACHERS, None, {}),
    "pupil_about": (None, STUDIO_TEACHERS, {"level": "growing", "kind": "violin"}),
    "pupil_set_drill": (None, STUDIO_TEACHERS, {}),
    "manifest": (EVERYONE, None, {}),
    "worker": (EVERYONE, None, {}),
    "script_words": (EVERYONE, None, {}),
    "offline": (EVERYONE, None, {}),  # of nobody: it says that there is no line
    "offline_files": (EVERYONE, None, {}),
    "pupil_progress": (STUDIO_TEACHERS, None, {}),
    "own_progress": (PUPILS, None, {}),
    "child_progress": ({"guardian"}, None, {}),
    "pupil_reports": (STUDIO_TEACHERS, STUDIO_TEACHERS, PERIOD),
    "report": (SEES, None, {}),
    "report_write": (STUDIO_TEACHERS, STUDIO_TEACHERS, PERIOD),
    "report_throw_away": (None, STUDIO_TEACHERS, {}),
    "report_file": (SEES, None, {}),
    "pupil_history": (STUDIO_TEACHERS, None, {}),
    "own_history": (PUPILS, None, {}),
    "child_history": ({"guardian"}, None, {}),
    "queue": (PUPILS, None, {}),
    "record": (PUPILS, None, {}),
    "child_record": ({"guardian"}, None, {}),
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
    "desk_bar_pin": (None, STUDIO_TEACHERS, {"start_s": "1", "end_s": "2", "bar": "1"}),
    "desk_bar_pin_take_away": (None, STUDIO_TEACHERS, {}),
    "desk_mark_add": (None, STUDIO_TEACHERS, {"words": "W", "start_s": "1", "end_s": "2"}),
    "desk_mark_edit": (None, STUDIO_TEACHERS, {"words": "W", "start_s": "1", "end_s": "2"}),
    "desk_mark_delete": (None, STUDIO_TEACHERS, {}),
    "precision": (TEACHERS, None, {}),
    "blind_audit": (TEACHERS, TEACHERS, {}),
    "blind_audit_round": ({"teacher"}, {"teacher"}, {"moment": "0", "answer": "in_tune"}),
    "blind_audit_back": (None, {"teacher"}, {}),
    "blind_audit_end": (None, {"teacher"}, {}),
    "blind_audit_result": ({"teacher"}, None, {}),
    "phrases": (TEACHERS, TEACHERS, {"kind": "bow", "text": "More bow"}),
    "phrase": ({"teacher"}, {"teacher"}, {"kind": "bow", "text": "More bow"}),
    "phrase_delete": (None, {"teacher"}, {}),
    "phrase_move": (None, {"teacher"}, {"way": "up"}),
    "desk_phrases": (STUDIO_TEACHERS, None, {}),
    "desk_templates": (STUDIO_TEACHERS, None, {}),
    "summary_templates": (TEACHERS, TEACHERS, {"name": "Short", "text": "{better}"}),
    "summary_template": ({"teacher"}, {"teacher"}, {"name": "Short", "text": "{better}"}),
    "summary_template_delete": (None, {"teacher"}, {}),
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
OF_LESSONS = (
    *("kept_clips", "kept_lessons", "lessons_end", "lessons_take_back", "lessons_elsewhere"),
)
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
        result=child.read(str(music), "", "two-bars", "") | WORKED_OUT,
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


def furnished(cast: Cast, folder: Path) -> dict[str, dict]:
    """Mira's clip, her drill and everything on them: the arguments of each address."""
    clip = _clip(cast, folder)
    drill, assignment = _drill(cast)
    return {
        **_of_drills(drill, assignment),
        **_of_places(cast),
        **_of_accounts(cast),
        **_of_the_clip(clip),
        **_of_the_desk(cast, clip, assignment),
        **_of_phrases(cast),
        **_of_the_blind_audit(cast, clip),
        **_of_questions(cast),
        **_of_practice(cast),
        **_of_uploads(cast, clip),
        **_of_the_rotation(cast),
        **_of_lessons(cast),
        **_of_rights(cast, clip),
        **_of_reports(cast),
        **_each(("copy_file", "copy_remove"), {"pk": _copy(cast, folder).pk}),
        "drill_reading": {"reading_id": read_for(cast).pk},
        "waiting_list": {},
        "script_words": {"language": "en-gb", "mark": "0"},
    }


def _of_rights(cast: Cast, clip: Clip) -> dict[str, dict]:
    return {
        **_each(("erase_lessons", *OF_LESSONS), {"pk": cast.enrolment.pk}),
        "erase_clip": {"clip_id": clip.pk},
        "erasure": {"job_id": ErasureJob.objects.create(kind="clip").pk},
    }


def _of_reports(cast: Cast) -> dict[str, dict]:
    """A draft, and what was given out and printed."""
    about = {"enrolment": cast.enrolment, "written_by": cast.teacher}
    period = {"since": date(2026, 9, 1), "until": date(2026, 11, 1)}
    draft, given = (TermReport.objects.create(**about, **period) for _ in range(2))
    TermReport.objects.filter(pk=given.pk).update(
        given_at=timezone.now(), frozen=contents_of(given)
    )
    ReportPrint.objects.create(
        report=given, language=settings.LANGUAGE_CODE, state="printed", content=b"%PDF-"
    )
    return {
        "pupil_reports": {"pk": cast.enrolment.pk},
        **_each(("report_write", "report_throw_away"), {"report_id": draft.pk}),
        **_each(("report", "report_file"), {"report_id": given.pk}),
    }


def _copy(cast: Cast, folder: Path) -> Copy:
    """What the guardian had made of the child's lessons."""
    (folder / "copy").write_bytes(b"something")
    return Copy.objects.create(
        **{"asked_by": cast.guardian, "about": cast.pupil, "studio": cast.studio},
        **{"state": Copy.State.READY, "path": "copy", "size_bytes": 9},
        ready_at=timezone.now(),
    )


def _each(names: Iterable[str], where: dict) -> dict[str, dict]:
    return {name: dict(where) for name in names}


def _clip(cast: Cast, folder: Path) -> Clip:
    clip = make_clip(cast.enrolment, has_audio=True)
    for kind in Rendition.Kind:
        (folder / kind.value).write_bytes(b"something")
        Rendition.objects.create(
            clip=clip, kind=kind, path=kind.value, size_bytes=9, content_type="video/mp4"
        )
    (folder / "reply").write_bytes(b"something")
    return clip


def _drill(cast: Cast) -> tuple[Drill, Assignment]:
    score = generate(Request(direction="up", manner="together", start=1)).to_dict()
    drill = make_drill(cast.teacher, cast.studio, score=score)
    return drill, set_for(cast.enrolment, drill)


def _of_drills(drill: Drill, assignment: Assignment) -> dict[str, dict]:
    of_drill = [name for name in TABLE if name.startswith("drill") and name not in NOT_OF_A_DRILL]
    set_for_her = ("assignment", "assignment_paper", "assignment_musicxml", "tick_off")
    return {
        **_each(of_drill, {"pk": drill.pk}),
        **_each(set_for_her, {"pk": assignment.pk}),
    }


def _of_places(cast: Cast) -> dict[str, dict]:
    names = (
        "pupil",
        "pupil_about",
        "pupil_set_drill",
        "pupil_progress",
        "pupil_history",
        "consent",
        "simple_reading",
    )
    at_home = (
        "child",
        "told_child",
        "child_progress",
        "child_history",
        "child_log_in",
        "child_record",
        "child_send",
    )
    before = Enrolment.objects.get(pupil=cast.former_pupil)
    LessonsEnd.objects.create(place=before, side="studio")
    colleague = {"pk": Membership.objects.get(person=cast.colleague).pk}
    return {
        **_each((*names, *at_home, "password_link", "place_end"), {"pk": cast.enrolment.pk}),
        "place_take_back": {"pk": before.pk},
        "uploads_for": {"place_pk": cast.enrolment.pk},
        "consent_change": {"pk": cast.enrolment.pk, "purpose": "recordings"},
        "guardian_unlink": {"pk": GuardianLink.objects.get(guardian=cast.guardian).pk},
        **_each(("membership_end", "pupils_hand_over"), colleague),
    }


def _of_accounts(cast: Cast) -> dict[str, dict]:
    invitation, secret = invite(cast.studio, "pupil", "N", "n@n.example", by=cast.teacher)
    _, opens = passwords.make_link(cast.pupil, by=cast.teacher)
    second_step.begin(cast.teacher)
    TOTPDevice.objects.create(user=cast.colleague, name="on", confirmed=True)
    said = {"person": cast.pupil.pk, "from": cast.pupil.email, "to": "p@p.example"}
    return {
        "choose_password": {"uidb64": "MQ", "token": "no-letter"},
        "password_by_link": {"secret": opens},
        "notice_read": {"pk": cast.pupil.notices.get().pk},
        "answer_address": {"pk": _address_asked(cast)},
        "new_address": {"token": signing.dumps(said, salt=ADDRESS_SALT)},
        **_each(("letters_off", "letters_on"), {"token": _letter_token(cast)}),
        "calendar_feed": {"secret": _calendar_secret(cast)},
        "people_invite": {"role": "pupil"},
        "invitation": {"secret": secret},
        "invitation_cancel": {"pk": invitation.pk},
    }


def _letter_token(cast: Cast) -> str:
    """What stands in the pupil's letter of a drill."""
    return unsubscribing.link(cast.pupil, ["set"]).rstrip("/").rpartition("/")[2]


def _calendar_secret(cast: Cast) -> str:
    return calendar_feeds.make(cast.pupil).rpartition("/")[2].removesuffix(".ics")


def _address_asked(cast: Cast) -> int:
    """The pupil wants another address; her guardian has been asked."""
    address_changes.ask(cast.pupil, "q@q.example", "http://testserver")
    return cast.pupil.address_change.pk


def _of_the_clip(clip: Clip) -> dict[str, dict]:
    refused = make_clip(clip.enrolment, "Not music", intake="refused", intake_code="not_media")
    on_clip = [name for name in TABLE if name.startswith(ON_A_CLIP)]
    return {
        **_each(on_clip, {"clip_id": clip.pk}),
        "clip_put_away": {"clip_id": refused.pk},
    }


def _of_the_desk(cast: Cast, clip: Clip, assignment: Assignment) -> dict[str, dict]:
    review = Review.objects.get(clip=clip)
    hand = hand_marks.add(review, cast.teacher, HandMarkText("W", 1.0, 2.0), "")
    comment = add_comment(review, cast.teacher, CommentText("bow", "Less", 1.0))
    reply = Enclosure.objects.create(comment=comment, kind="voice", state="ready", duration_s=3.0)
    drawing = Enclosure.objects.create(comment=comment, kind="drawing", info={"aspect": 0.75})
    EnclosedFile.objects.create(
        **{"enclosure": reply, "clip": clip, "kind": "shown", "path": "reply"},
        **{"size_bytes": 9, "content_type": "audio/mp4"},
    )
    said = {"comment_id": comment.pk}
    told = {
        "desk_target": {"event": 0},
        "desk_playings": {"event": 0},
        "desk_picture_part": {"part": 0},
        "desk_decide": {"mark_id": 0},
        "desk_settle_old": {"decision_id": 0},
        **_each(("desk_mark_edit", "desk_mark_delete"), {"mark_id": hand.pk}),
        **_each(("desk_comment_edit", "desk_comment_delete", "desk_enclosure_add"), said),
        "desk_bar_pin_take_away": {"pin_id": 0},
        "desk_draw_again": {"enclosure_id": drawing.pk},
        **_each(("desk_enclosure_remove", "enclosure"), {"enclosure_id": reply.pk}),
        "desk_unset_drill": {"assignment_id": assignment.pk},
    }
    return {name: {"clip_id": clip.pk} | more for name, more in told.items()} | {"desk_keys": {}}


def _of_phrases(cast: Cast) -> dict[str, dict]:
    phrase = phrases.add(cast.teacher, cast.studio, "bow", "More weight")
    words = summary_templates.add(cast.teacher, cast.studio, "Long", "{better} Next: {next}.")
    return {
        **_each(("phrase", "phrase_delete", "phrase_move"), {"pk": phrase.pk}),
        **_each(("summary_template", "summary_template_delete"), {"pk": words.pk}),
    }


def _of_the_blind_audit(cast: Cast, clip: Clip) -> dict[str, dict]:
    """A round that has ended, and an open one with one moment left."""
    whose, of = {"studio": cast.studio, "teacher": cast.teacher, "seed": 1}, {"kind": "octaves"}
    span = {"clip": clip, "start_s": 4.0, "end_s": 5.0, "generation": version_of(ENGINE)[0]}
    begun = AuditRound.objects.create(**whose)
    ended = AuditRound.objects.create(**whose, finished_at=timezone.now())
    for each, said in ((begun, ""), (ended, "in_tune")):
        AuditMoment.objects.create(round=each, position=1, answer=said, **span, **of)
    names = ("blind_audit_round", "blind_audit_back", "blind_audit_end")
    return {**_each(names, {"pk": begun.pk}), "blind_audit_result": {"pk": ended.pk}}


def _of_questions(cast: Cast) -> dict[str, dict]:
    asked = questions.ask(cast.enrolment, cast.pupil, "Which finger?", About(), "")
    return {
        **_each(("ask", "worked"), {"pk": cast.enrolment.pk}),
        **_each(("question", "question_rest"), {"pk": asked.pk}),
    }


def _of_practice(cast: Cast) -> dict[str, dict]:
    said = Practised(timezone.localdate(), 15, hand="tired", word="Slow thirds")
    noted = practice.note(cast.enrolment, cast.pupil, said)
    return {
        "practice": {"pk": cast.enrolment.pk},
        **_each(("practice_entry", "practice_entry_delete"), {"pk": noted.pk}),
    }


def _of_uploads(cast: Cast, clip: Clip) -> dict[str, dict]:
    """The other methods of an upload are tried in tests/clips/uploads/test_uploads.py."""
    half = uploads.begin(cast.enrolment, cast.pupil, 9, "half.mp4")
    names = ("upload", "send_arrived", "send_words", "send_forget")
    return {
        **_each(names, {"upload_id": half.pk}),
        "send_same": {"upload_id": sent_before(clip).pk},
    }


def _of_the_rotation(cast: Cast) -> dict[str, dict]:
    today = timezone.localdate()
    plan = rotation.begin(cast.enrolment, cast.teacher, today)
    free = RotationHoliday.objects.create(rotation=plan, first_on=today, last_on=today)
    on_plan = {"pk": cast.enrolment.pk}
    on_round = on_plan | {"number": 1}
    on_lesson = on_plan | {"lesson_pk": plan.rounds.get(number=1).lessons.first().pk}
    return {
        **_each([name for name in TABLE if name.startswith("rotation")], on_plan),
        "rotation_own": {},
        **_each(("rotation_round", "rotation_round_end", "rotation_order"), on_round),
        **{f"rotation_{name}": on_lesson for name in ("lesson", "move", "tick", "set")},
        "rotation_holiday_end": on_plan | {"holiday_pk": free.pk},
    }


def _of_lessons(cast: Cast) -> dict[str, dict]:
    today = timezone.localdate()
    said = {"held_on": today, "text": "The thumb is free.", "agreed": "Octaves every day"}
    note = lessons.write(cast.enrolment, cast.teacher, share=True, **said)
    names = ("lesson_note", "lesson_note_agreed", "lesson_note_delete")
    planned, _next = plan_lessons(cast.enrolment, weeks=2)
    return {
        **_each(("planned_lesson", "planned_lesson_cancel"), {"pk": planned.pk}),
        "lesson_notes": {"pk": cast.enrolment.pk},
        **_each(names, {"pk": cast.enrolment.pk, "note_pk": note.pk}),
    }


def sent_before(clip: Clip) -> Upload:
    """The same recording once more, which its pupil has yet to decide about."""
    upload = uploads.begin(clip.enrolment, clip.enrolment.pupil, 1, "")
    partial.path(upload.pk).write_bytes(b"x")
    Upload.objects.filter(pk=upload.pk).update(offset_bytes=1, same_as=clip)
    return upload
