"""Listening with the drill in hand: which expected note each thing heard was.

``follow(measurement, score)`` aligns a Measurement to a list of expected notes and gives a
:class:`Following`. Read ``hidden_markov_model`` (how people practise, and the likeliest way
through), then ``emission_costs`` (how well a sound fits a note); ``follower`` puts them together,
and has what serves the judging: ``with_figures`` and ``with_fingering``. ``pins`` are places that a
person has said the bar of.
"""

from studio.intonation.alignment.follower import follow, with_figures, with_fingering
from studio.intonation.model.score_following import FollowedEvent, FollowedNote, Following

__all__ = [
    "FollowedEvent",
    "FollowedNote",
    "Following",
    "follow",
    "with_figures",
    "with_fingering",
]
