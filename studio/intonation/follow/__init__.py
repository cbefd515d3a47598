"""Listening with the drill in hand: which expected note each thing heard was.

``follow(measurement, score)`` aligns a Measurement to a list of expected notes and gives a
:class:`Following`. Read ``habits`` (how people practise), then ``likeness`` (how well a sound fits
a note), then ``path`` (the likeliest way through); ``grouping`` and ``figures`` serve the judging.
"""

from studio.intonation.follow.following import (
    FollowedEvent,
    FollowedNote,
    Following,
    follow,
)

__all__ = ["FollowedEvent", "FollowedNote", "Following", "follow"]
