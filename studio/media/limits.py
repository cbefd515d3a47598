"""The bounds within which recordings are opened and prepared."""

from dataclasses import dataclass

from studio.figures import MB


@dataclass(frozen=True, slots=True)
class Limits:
    """What is accepted, and what a child process may use.

    ``max_pixels`` lets 4K (8.3 million) pass and stops pixel bombs. ``memory_bytes`` bounds the
    address space of one child (4K HEVC decoding with one thread stays below 1 GB), and
    ``probe_memory_bytes`` that of one which only looks. ``probe_timeout_s`` is for all looks at
    one recording together. ``max_streams`` is far more than any camera writes.
    Pictures beyond 1080p are decoded by ``threads_4k``: one thread does not keep up with them.
    A picture that has to be scaled down keeps at most ``max_frame_rate_scaled``, for the same
    reason; one that is small enough keeps up to ``max_frame_rate``.
    The wall-clock bound of a job is ``timeout_base_s`` plus a multiple of the duration.
    """

    max_bytes: int = 1000 * MB
    max_duration_s: float = 900.0
    min_duration_s: float = 0.2
    max_pixels: int = 9_000_000
    max_side: int = 16_384
    long_side: int = 1280
    max_frame_rate: float = 60.0
    max_frame_rate_scaled: float = 30.0
    threads: int = 1
    threads_4k: int = 2
    memory_bytes: int = 3000 * MB
    probe_memory_bytes: int = 1000 * MB
    probe_timeout_s: float = 30.0
    max_streams: int = 64
    timeout_base_s: float = 60.0
    sound_timeout_per_s: float = 1.0
    playable_timeout_per_s: float = 6.0

    def sound_timeout_s(self, duration_s: float) -> float:
        """Wall-clock bound for work on the sound alone."""
        return self.timeout_base_s + self.sound_timeout_per_s * duration_s

    def playable_timeout_s(self, duration_s: float) -> float:
        """Wall-clock bound for encoding the picture."""
        return self.timeout_base_s + self.playable_timeout_per_s * duration_s
