"""The hostile set: files that try to reach what is not theirs, to swamp the machine, or are broken.

``python -m tests.media.hostile FOLDER`` writes them all, with the secret that some of them aim
at. Each case says where its clip must end, and with which code; ``within_s`` bounds the intake.
Everything is made to order: no file of anyone's is in it.
"""

from tests.media.hostile import bombs, broken, elsewhere, odd  # noqa: F401 (they register theirs)
from tests.media.hostile.case import CASES, CHAPTER, FAULTS, GPS, TITLE, Case, Ground, build

__all__ = ["CASES", "CHAPTER", "FAULTS", "GPS", "TITLE", "Case", "Ground", "build"]
