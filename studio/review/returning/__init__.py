"""Returning a reviewed clip: its summary and drills, the frozen snapshot, and who is told."""
