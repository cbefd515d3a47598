"""What goes by itself once its time is over, by the times that hold for it.

Once an hour, and by a command, each studio that has set times is gone through (:mod:`.rounds`):
what is due gets the day on which it goes (:mod:`.due`), and whoever it concerns is told
(:mod:`.warnings`); what has come to its day is given to an erasure, as if somebody had asked for it
(:mod:`studio.rights.erasure`). Done twice, or by two at once, a round does no more than once.
"""
