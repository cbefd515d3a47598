"""The forms of studio.accounts."""

from studio.accounts import consent, handing_over, invitations, lesson_endings, services
from studio.accounts.models import Enrolment, GuardianLink, Invitation, Membership
from tests.cast import PASSWORD, agree

from .form import LOG_IN, OK_MESSAGE, WARNED, Form, logged_out
from .rows import Rows

NEW = "three bows and a rosin"
ENDED = ".messages li:has-text('already')"


def _invite(role: str, **more: str) -> Form:
    return Form(
        who="teacher",
        at="people",
        args=lambda rows: {"role": role},
        good={"name": "Linnea Falk", "email": "linnea@home.example", **more},
        bad={"email": "linnea at home"},
        seen="main h1:has-text('Linnea Falk')",
    )


def _accepted(rows: Rows) -> None:
    invitation = Invitation.objects.get(pk=rows.args["invitation_cancel"]["pk"])
    invitations.accept(invitation, invitation.name, PASSWORD)


def _unlinked(rows: Rows) -> None:
    link = GuardianLink.objects.get(pk=rows.args["guardian_unlink"]["pk"])
    services.unlink_guardian(link, rows.cast.teacher)


def _decided_otherwise(rows: Rows) -> None:
    """The other parent agreed and withdrew: what the page shows is not how it stands."""
    place = Enrolment.objects.get(pk=rows.unasked.pk)
    agree(place.pupil, place.studio, rows.cast.guardian)
    consent.withdraw(place, rows.cast.guardian, consent.Purpose.RECORDINGS)


def _left(rows: Rows) -> None:
    handing_over.end_membership(Membership.objects.get(pk=rows.args["membership_end"]["pk"]))


def _came_back(rows: Rows) -> None:
    former = rows.cast.former_pupil
    Enrolment.objects.create(pupil=former, studio=rows.cast.studio, teacher=rows.cast.teacher)


FORMS = {
    "log_in": [
        Form(
            who="anonymous",
            at="log_in",
            good={"username": "ottilie.brandt@teacher.example", "password": PASSWORD},
            bad={"password": "none of them"},
            status=200,
            seen="nav[aria-label=Main]",
        )
    ],
    "log_out": [
        Form(who="pupil", at="queue", seen=LOG_IN, meanwhile=logged_out, status=302, wrong=LOG_IN)
    ],
    "new_password": [
        Form(
            who="anonymous",
            at="new_password",
            good={"email": "mira.sandholm@pupil.example"},
            bad={"email": "mira"},
            seen="main h1",
        )
    ],
    "choose_password": [
        Form(
            who="anonymous",
            at="choose_password",
            good={"new_password1": NEW, "new_password2": NEW},
            bad={"new_password2": f"{NEW}s"},
            status=200,
            seen=LOG_IN,
        )
    ],
    "invitation": [
        Form(
            who="anonymous",
            at="invitation",
            good={"name": "Nora B. Ahlgren", "password": NEW, "again": NEW},
            bad={"again": f"{NEW}s"},
            seen="nav[aria-label=Main]",
        )
    ],
    "consent_change": [
        Form(
            who="guardian",
            at="consent_change",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        ),
        Form(
            who="guardian",
            at="consent_change",
            args=lambda rows: {"pk": rows.unasked.pk, "purpose": "recordings"},
            seen=OK_MESSAGE,
            meanwhile=_decided_otherwise,
            status=409,
        ),
    ],
    "child_log_in": [
        Form(
            who="guardian",
            at="child_log_in",
            args=lambda rows: {"pk": rows.unasked.pk},
            button="[value=make]",
            good={"login_name": "Ida.Sandholm"},
            bad={"login_name": "ida at home"},
            seen="main dd code",
        )
    ],
    "people_invite": [
        _invite("pupil", birth_year="2012"),
        _invite("guardian", place="Mira Sandholm"),
        _invite("teacher"),
    ],
    "people_invite_family": [
        Form(
            who="teacher",
            at="people",
            good={
                "name": "Linnea Falk",
                "email": "linnea@home.example",
                "child0-name": "Runa Falk",
                "child0-birth_year": "2018",
            },
            bad={"child0-birth_year": "1950"},
            seen="main h1:has-text('Linnea Falk')",
        )
    ],
    "people_own_login": [
        Form(
            who="teacher",
            at="people",
            good={"own_login_age": "12"},
            bad={"own_login_age": "99"},
            seen=OK_MESSAGE,
        )
    ],
    "people_answering": [
        Form(
            who="teacher",
            at="people",
            good={"answer_within_days": "5", "return_delay_min": "20"},
            bad={"answer_within_days": "0"},
            seen=OK_MESSAGE,
        )
    ],
    "guardian_link": [
        Form(
            who="teacher",
            at="people",
            good={"guardian": "Edda Sandholm", "place": "Jonas Weidegger"},
            bad={"place": ""},
            seen=OK_MESSAGE,
        )
    ],
    "invitation_cancel": [
        Form(
            who="teacher",
            at="people",
            seen=OK_MESSAGE,
            meanwhile=_accepted,
            status=302,
            wrong=WARNED,
        )
    ],
    "guardian_unlink": [
        Form(
            who="teacher",
            at="guardian_unlink",
            seen=OK_MESSAGE,
            meanwhile=_unlinked,
            status=302,
            wrong=ENDED,
        )
    ],
    "place_end": [
        Form(
            who="teacher",
            at="place_end",
            seen=OK_MESSAGE,
            meanwhile=lambda rows: lesson_endings.end_lessons(rows.cast.enrolment),
            status=302,
            wrong=ENDED,
        )
    ],
    "place_take_back": [
        Form(
            who="teacher",
            at="people",
            seen=OK_MESSAGE,
            meanwhile=_came_back,
            status=302,
            wrong=WARNED,
        )
    ],
    "membership_end": [
        Form(
            who="teacher",
            at="membership_end",
            seen=OK_MESSAGE,
            meanwhile=_left,
            status=302,
            wrong=ENDED,
        )
    ],
    "membership_leave": [
        Form(
            who="colleague",
            at="membership_leave",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "pupils_hand_over": [
        Form(
            who="teacher",
            at="pupils_hand_over",
            args=lambda rows: {"pk": Membership.objects.get(person=rows.cast.teacher).pk},
            good={"all": "Colleague"},
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "studio_owner": [
        Form(
            who="teacher",
            at="studio_owner",
            good={"owner": "Colleague"},
            bad={"owner": ""},
            seen=OK_MESSAGE,
        )
    ],
    "studio_close": [
        Form(
            who="foreign_teacher",
            at="studio_close",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
}
