"""A lesson-feedback service for violin and viola double-stop practice."""

__version__ = "0.1.0"
