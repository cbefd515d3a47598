"""Marks of a clip: proposed by the judgement, decided by the teacher, added by hand.

``judging`` judges the stored measurement, ``mark`` pairs what it proposes with ``decisions``.
"""
