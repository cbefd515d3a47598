"""What this app tells the apps above it, without knowing them."""

from django.dispatch import Signal

#: A teacher's place in a studio ended. Arguments: ``person``, ``studio``. Sent inside its
#: transaction.
teacher_left = Signal()
