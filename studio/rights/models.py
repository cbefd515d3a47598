"""The app's tables. Django finds models where they are imported."""

from .erasure.models import ErasureJob  # noqa: F401
