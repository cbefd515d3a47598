"""The app's tables. Django finds models where they are imported."""

from .copies.models import Copy  # noqa: F401
from .erasure.models import ErasureJob  # noqa: F401
