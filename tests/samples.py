"""Recordings that tests send: the demo's own (sample_media/)."""

from pathlib import Path

SAMPLE = Path(__file__).parents[1] / "sample_media" / "clips" / "short-octaves.mp4"
