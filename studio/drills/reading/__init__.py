"""Reading a page of music that a teacher brought: by a worker, in a child process with bounds.

What a file asks of the machine is its sender's choice, so no web process parses or engraves it. A
:class:`~.models.ScoreReading` is one such piece of leased work; it goes a day later, kept or not.
"""
