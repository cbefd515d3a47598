"""One uploaded recording and everything derived from it.

Rooms, from the lowest up: ``models`` and ``storage``; ``processing``; ``services``; ``uploads`` and
``upkeep``.
"""
