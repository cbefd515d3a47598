"""Drills as scores: generated and fingered.

Pure: theory and the standard library.
"""

from studio.notation.generate import generate, is_feasible
from studio.notation.request import INTERVALS, Infeasible, Request
from studio.notation.score import NotAScore, Score, Written

__all__ = [
    "INTERVALS",
    "Infeasible",
    "NotAScore",
    "Request",
    "Score",
    "Written",
    "generate",
    "is_feasible",
]
