"""Whose line of time it is and who reads it: what they may see of it.

A pupil and a guardian see what was returned as it was frozen, and what was shared with them; a
teacher sees all that was returned, and the clips while consent holds.
"""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from studio.accounts.models import Enrolment
from studio.drills import access as drills
from studio.drills.lessons import access as lessons
from studio.drills.lessons.models import LessonNote
from studio.drills.models import Assignment
from studio.review.models import ReturnedMoment

TEACHER, PUPIL, GUARDIAN = "teacher", "pupil", "guardian"


@dataclass(frozen=True, slots=True)
class Reader:
    """One who reads the line of a place: ``area`` says as whom, ``now`` when."""

    place: Enrolment
    area: str
    now: datetime
    reads_simply: bool = False

    @property
    def is_teacher(self) -> bool:
        return self.area == TEACHER

    @property
    def sees_recordings(self) -> bool:
        """Whether clips, what was said of them and practice are shown."""
        return not self.is_teacher or bool(self.place.consented)

    def returned(self, way: str) -> Q:
        """A condition for rows from which ``way`` leads to a return that the reader sees."""
        if self.is_teacher:
            return Q(**{f"{way}__isnull": False})
        return Q(**{f"{way}__visible_at__lte": self.now})

    def moments(self) -> QuerySet[ReturnedMoment]:
        """All moments of the place that the reader sees."""
        found = ReturnedMoment.objects.filter(enrolment=self.place.pk)
        return found if self.is_teacher else found.filter(returned__visible_at__lte=self.now)

    def notes(self) -> QuerySet[LessonNote]:
        of_place = lessons.notes_of if self.is_teacher else lessons.shared_of
        return of_place(self.place)

    def assignments(self) -> QuerySet[Assignment]:
        """What was set and can be seen at home by now."""
        seen = Assignment.objects.filter(drills.published(self.now), enrolment=self.place)
        return seen.select_related("version").defer(*drills.scores_of("version"))

    def words_of(self, moment: ReturnedMoment) -> str:
        """A moment's words, as this reader has them."""
        if self.reads_simply and moment.child_text:
            return moment.child_text
        if self.area == GUARDIAN and moment.guardian_text:
            return moment.guardian_text
        return moment.text
