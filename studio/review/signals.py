"""What this app tells the apps above it, without knowing them."""

from django.dispatch import Signal

#: A clip was returned: nothing that was decided about it changes from now on. Arguments:
#: ``review``. Sent inside the transaction.
returned = Signal()

#: A return was taken back, and the review is open again. Arguments: ``review``. Sent inside the
#: transaction.
return_taken_back = Signal()
