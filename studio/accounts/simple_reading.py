"""Who reads a page in a child's words."""

from .models import Enrolment

FOR_PUPIL = "pupil"  # what a guardian's page is asked for by ``?as=``


def reads(enrolment: Enrolment, *, is_own: bool, asked: str = "") -> bool:
    """Whether a page at home is in a child's words.

    A guardian reads them beside a child who has no log-in of her own, and where she asks for it.
    """
    if not enrolment.reads_simply:
        return False
    with_her = is_own or not enrolment.pupil.logs_in_with
    return with_her if is_own or not asked else asked == FOR_PUPIL
