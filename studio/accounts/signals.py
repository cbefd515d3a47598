"""What this app tells the apps above it, without knowing them."""

from django.contrib.auth.signals import user_logged_in
from django.dispatch import Signal, receiver

from . import known_device, remembered_person, saved_forms, sessions

#: A teacher's place in a studio ended. Arguments: ``person``, ``studio``. Sent inside its
#: transaction.
teacher_left = Signal()

#: The lessons of a place ended. Arguments: ``place``. Sent inside its transaction.
lessons_ended = Signal()


@receiver(user_logged_in)
def logged_in(sender, request, user, **more) -> None:
    """The session learns whose it is; what another person left here is given to nobody."""
    session = request.session
    sessions.begin(session, request.META.get("HTTP_USER_AGENT", ""))
    session.set_expiry(None)
    if (words := saved_forms.kept(request)) is None or words["person"] != user.pk:
        saved_forms.forget(session)
    before = remembered_person.last_person(request)
    if before is not None and before != user.pk:
        session[sessions.CLEAR] = True
    else:
        session.pop(sessions.CLEAR, None)
    request.logged_in_now = True
    known_device.learns(request, user.pk)
