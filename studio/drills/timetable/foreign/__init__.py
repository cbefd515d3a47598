"""Lessons from a calendar's file: read within bounds, looked at, given to pupils, taken in."""
