"""What the tables of accounts answer, and those of the libraries that log people in."""

from collections.abc import Iterable
from functools import reduce
from operator import or_

from axes.models import AccessAttempt, AccessAttemptExpiration, AccessFailureLog, AccessLog
from django.contrib.auth.models import Group, Permission
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session
from django.db.models import Q
from django_otp.plugins.otp_totp.models import TOTPDevice

from studio.accounts import throttling
from studio.accounts.models import (
    AddressChange,
    AuditEntry,
    CalendarFeed,
    Consent,
    Enrolment,
    GuardianLink,
    Instrument,
    Invitation,
    InvitedChild,
    LessonsEnd,
    Letter,
    Membership,
    Notice,
    Notification,
    NotificationChoice,
    NotificationTimes,
    OpenSession,
    PasswordLink,
    Person,
    RecoveryCode,
    RetentionTerms,
    Studio,
    TryCount,
)
from studio.translating import gettext_lazy

from .answers import Emptied, Exported, Goes, Kept, Stays, Unlinked, Withheld, fields
from .registry import impersonal, register


def _any(conditions: Iterable[Q]) -> Q:
    return reduce(or_, conditions, Q(pk__in=[]))


def _by_name(column: str, person: Person) -> Q:
    """Rows that name what the person logs in with; none of a child who does not log in."""
    return _any(Q(**{f"{column}__iexact": name}) for name in person.log_in_names)


register(
    Person,
    subjects=("pk",),
    export=Exported(
        fields(
            "name", "email", "login_name", "birth_year", "is_active", "is_operator", "last_login"
        ),
        with_lessons=True,
    ),
    erasure=Emptied(
        {
            **{"name": "erased", "email": None, "login_name": None, "password": "!"},
            **{"birth_year": None, "is_active": False, "is_operator": False},
        },
        "Where something that stays names the account; else the row goes.",
    ),
    kept=Kept.ACCOUNT,
)
impersonal(
    Studio, "The name and settings of a practice; who belongs to it is said by its memberships."
)
register(
    Membership,
    subjects=("person",),
    studio="studio",
    export=Exported(fields("role", "is_owner", "started_on", "ended_on", "studio__name")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    Enrolment,
    subjects=("pupil",),
    studio="studio",
    named={"teacher": Stays("The place is the pupil’s; it goes on naming an emptied account.")},
    export=Exported(
        fields(
            *("pupil", "studio__name", "teacher", "level", "reads_simply"),
            *("started_on", "ended_on"),
        )
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
    lessons=True,
)
register(
    LessonsEnd,
    subjects=("place__pupil",),
    studio="place__studio",
    export=Exported(fields("place", "side", "at")),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
register(
    Instrument,
    subjects=("pupil",),
    studio="studio",
    export=Exported(fields("kind", "string_length_mm", "started_on", "ended_on")),
    erasure=Goes(),
    kept=Kept.LESSONS,
    lessons=True,
)
register(
    GuardianLink,
    subjects=("guardian", "pupil"),
    studio="studio",
    export=Exported(fields("guardian", "pupil", "started_on", "ended_on", "confirmed_at")),
    erasure=Goes(),
    kept=Kept.LESSONS,
)
GAVE = Stays("That somebody agreed, and when, is the pupil’s record; it names an emptied account.")
register(
    Consent,
    subjects=("pupil",),
    studio="studio",
    named={
        **{"given_by": GAVE, "withdrawn_by": GAVE},
        "terms": Stays("The times that were agreed to stay as long as the studio."),
    },
    export=Exported(
        fields(
            *("pupil", "purpose", "version", "given_by", "given_at"),
            *("withdrawn_by", "withdrawn_at", "rests_since", "superseded_at", "terms"),
        )
    ),
    erasure=Goes(),
    kept=Kept.LESSONS,
    lessons=True,
)
register(
    RetentionTerms,
    subjects=("set_by",),
    studio="studio",
    export=Exported(
        fields(
            *("set_at", "recordings_days", "figures_days", "drills_days", "after_end_days"),
            "log_days",
        )
    ),
    erasure=Unlinked("How long the studio keeps what stays; who set it is gone from it."),
    kept=Kept.STUDIO,
)
register(
    Invitation,
    subjects=("pupil",),
    find=lambda person: _by_name("email", person),
    studio="studio",
    named={"invited_by": Unlinked("The invitation is that of whoever was invited.")},
    # Without the address: it may be that of another guardian of the same child.
    export=Exported(
        fields("role", "name", "birth_year", "created_at", "expires_at", "accepted_at")
    ),
    erasure=Goes(),
    kept=Kept.INVITATION,
)
register(
    InvitedChild,
    find=lambda person: _by_name("invitation__email", person),
    studio="invitation__studio",
    named={"invitation": Goes()},
    export=Exported(fields("name", "birth_year", "kind", "string_length_mm")),
    erasure=Goes(),
    kept=Kept.INVITATION,
)
register(
    Letter,
    find=lambda person: _by_name("to", person),
    named={"person": Goes()},
    export=Exported(fields("kind", "subject", "created_at", "sent_at")),
    erasure=Goes(),
    kept=Kept.LETTER,
)
register(
    OpenSession,
    subjects=("person",),
    export=Exported(fields("agent", "since", "used_at")),
    erasure=Goes(),
    kept=Kept.SESSION,
)
register(
    TryCount,
    find=lambda person: _any(throttling.about(name) for name in person.log_in_names),
    export=Exported(fields("failures", "latest")),
    erasure=Goes(),
    kept=Kept.TRIES,
)
register(
    PasswordLink,
    subjects=("person",),
    named={"made_by": Unlinked("The link is that of whose password it changes.")},
    export=Exported(fields("made_by", "created_at", "expires_at", "used_at", "cancelled_at")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    AddressChange,
    subjects=("person",),
    export=Exported(fields("email", "asked_at")),
    erasure=Goes(),
    kept=Kept.ADDRESS_CHANGE,
)
register(
    RecoveryCode,
    subjects=("person",),
    export=Exported(fields("kind", "created_at", "used_at")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    Notice,
    subjects=("to",),
    named={"link": Goes(), "address_change": Goes()},
    export=Exported(fields("kind", "text", "created_at", "read_at")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
# What a guardian or a teacher is told of a pupil is the pupil's too.
register(
    Notification,
    subjects=("to", "about"),
    studio="studio",
    named={"by": Unlinked("What happened stays told; who did it is gone from it.")},
    export=Exported(
        fields(
            *("to", "kind", "about", "by", "what", "created_at", "on_page", "seen_at"),
            "lettered_at",
        )
    ),
    erasure=Goes(),
    kept=Kept.NOTIFICATION,
    lessons=True,
)
register(
    NotificationChoice,
    subjects=("person",),
    export=Exported(fields("kind", "on_page", "by_letter")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    NotificationTimes,
    subjects=("person",),
    export=Exported(
        fields("pace", "hour", "weekday", "quiet_from", "quiet_until", "time_zone"),
    ),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
register(
    CalendarFeed,
    subjects=("person",),
    export=Exported(fields("made_at", "read_at", "hour_began_at", "reads")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
# Without whom it was about: of what a teacher did that is another person.
register(
    AuditEntry,
    subjects=("about", "by"),
    studio="studio",
    export=Exported(fields("at", "act", "by", "clip_id", "detail")),
    erasure=Unlinked(
        "What was done stays in the studio’s log; whose doing it was is gone from it."
    ),
    kept=Kept.STUDIO,
)

# -- libraries -----------------------------------------------------------------------------
register(
    TOTPDevice,
    subjects=("user",),
    export=Exported(fields("name", "confirmed", "created_at", "last_used_at")),
    erasure=Goes(),
    kept=Kept.ACCOUNT,
)
for record in (AccessAttempt, AccessFailureLog, AccessLog):
    register(
        record,
        find=lambda person: _by_name("username", person),
        export=Exported(fields("attempt_time", "user_agent", "ip_address", "path_info")),
        erasure=Goes(),
        kept=Kept.LOG_INS,
    )
register(
    AccessAttemptExpiration,
    find=lambda person: _by_name("access_attempt__username", person),
    named={"access_attempt": Goes()},
    export=Withheld(
        gettext_lazy("It says when a count of wrong log-ins ends, which goes with the count.")
    ),
    erasure=Goes(),
    kept=Kept.LOG_INS,
)
impersonal(Session, "It has no rows: sessions are those of OpenSession.")
impersonal(Group, "It has no rows: who may do what is said by memberships.")
impersonal(Group.permissions.through, "It has no rows, as there are no groups.")
impersonal(Permission, "The names of Django’s permissions, made from the tables.")
impersonal(ContentType, "The names of the tables.")
