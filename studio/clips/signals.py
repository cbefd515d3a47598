"""What this app tells the apps above it, without knowing them."""

from django.dispatch import Signal

#: A new listening was published. Arguments: ``listening``. Sent inside its transaction.
heard = Signal()

#: A clip was received. Arguments: ``clip``. Sent inside its transaction.
received = Signal()
