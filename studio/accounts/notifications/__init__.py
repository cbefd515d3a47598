"""What people are told of lessons: kinds, what each wants to be told, and when letters come.

Whatever happens is told by :func:`tell`. The row is the truth: a page lists the rows, and a worker
makes letters of those that want one (:mod:`.digest`).
"""

from .kinds import KINDS, Kind, kind_named
from .telling import tell, tell_each

__all__ = ["KINDS", "Kind", "kind_named", "tell", "tell_each"]
