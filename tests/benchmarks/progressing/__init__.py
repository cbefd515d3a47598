"""Simulated pupils whose progress is known; see :mod:`tests.benchmarks.progress`."""
