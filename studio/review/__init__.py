"""A clip reviewed: marks and decisions, comments, drills set with it, its return; and the pages.

Rooms, from the lowest up: ``models``; ``access`` and ``changes``; ``marks``, ``comments``,
``enclosures``; ``prescribing``, ``waiting``, ``returning``; ``web``.
"""
