"""What this app tells the apps above it, without knowing them."""

from django.dispatch import Signal

#: A new listening was published. Arguments: ``listening``. Sent inside its transaction.
heard = Signal()

#: A clip was received. Arguments: ``clip``. Sent inside its transaction.
received = Signal()

#: A received clip that nobody had been able to look at was looked at, and refused. Arguments:
#: ``clip``. Sent inside its transaction.
refused = Signal()

#: Somebody wants to send a recording in pieces. Arguments: ``enrolment``, ``said`` (names and
#: texts). A receiver that cannot accept what is said raises :class:`Unacceptable`.
announced = Signal()

#: A recording that was sent in pieces became a clip. Arguments: ``clip``, ``said``, ``enrolment``.
#: Sent inside the transaction that writes its rows, after :data:`received`.
arrived = Signal()

#: Other words came about a clip that has only just arrived. Arguments: ``clip``, ``said``,
#: ``enrolment``.
said_anew = Signal()

#: A clip is being erased. Arguments: ``clip``. Sent inside its transaction; files that rows of
#: :class:`~.models.ClipFile` name go by themselves.
erased = Signal()

#: The recording of a clip goes, and what was measured and said of it stays. Arguments: ``clip``,
#: its id. Sent inside its transaction; files go as with :data:`erased`.
recording_goes = Signal()

#: A backup was put back, and the files of clips that were erased since are gone again: what else
#: was erased since goes now.
restored = Signal()

#: Clips are to be erased, and nobody reaches them any more. Arguments: ``clips``, each with its
#: place. Sent inside the transaction.
hidden = Signal()

#: Somebody asks which clips are waited for. Receivers give a condition (``Q``) on clips.
awaited = Signal()

#: What was lost is being sent again, every 15 seconds; for work that an app above this one has.
swept = Signal()


class Unacceptable(Exception):
    """Why not, in a sentence that says what to do."""
