"""Listening with the drill in hand: which expected note each thing heard was.

``follow(measurement, score)`` aligns a Measurement to a list of expected notes and gives a
:class:`Following`. Read ``transition_costs`` (how people practise), then ``emission_costs`` (how
well a sound fits a note), then ``viterbi`` (the likeliest way through); ``note_figures`` and
``fingering`` serve the judging.
"""

from studio.intonation.alignment.follower import follow
from studio.intonation.model.following import FollowedEvent, FollowedNote, Following

__all__ = ["FollowedEvent", "FollowedNote", "Following", "follow"]
