"""Term reports: a teacher's words about a period, with pictures, given to pupil and guardians.

A draft is the teacher's alone. Given out it is frozen, and read on a page or printed by a worker as
a PDF (:mod:`.printing`).
"""
