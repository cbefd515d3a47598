"""The tables of people: each room has a subject, and all are had from here."""

from .audit import AuditEntry
from .consents import Consent
from .invitations import Invitation, InvitedChild
from .lessons_end import LessonsEnd
from .log_ins import AddressChange, OpenSession, PasswordLink, RecoveryCode, TryCount
from .messages import Letter, Notice
from .notifications import (
    CalendarFeed,
    Notification,
    NotificationChoice,
    NotificationTimes,
)
from .people import Dated, Person, PersonManager, current, login_named
from .retention import RetentionTerms
from .studios import Enrolment, GuardianLink, Instrument, Level, Membership, Studio, Tuning

__all__ = [
    "AddressChange",
    "AuditEntry",
    "CalendarFeed",
    "Consent",
    "Dated",
    "Enrolment",
    "GuardianLink",
    "Instrument",
    "Invitation",
    "InvitedChild",
    "LessonsEnd",
    "Letter",
    "Level",
    "Membership",
    "Notice",
    "Notification",
    "NotificationChoice",
    "NotificationTimes",
    "OpenSession",
    "PasswordLink",
    "Person",
    "PersonManager",
    "RecoveryCode",
    "RetentionTerms",
    "Studio",
    "TryCount",
    "Tuning",
    "current",
    "login_named",
]
