"""Clips that wait for an answer: how they come, who takes them, and what the list asks."""
