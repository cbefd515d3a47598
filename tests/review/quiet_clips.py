"""Clips in which nothing was found and nothing asked, and the page that shows them in a row."""

from studio.clips.models import Clip
from tests.cast import make_clip
from tests.review.heard_clip import listen_again, measurement

IN_TUNE = (("C4", 4.0, (2.0,)), ("D4", 12.0, (1.0,)))
ADDRESS = "/waiting/batch/"


def quiet_clip(enrolment, title: str = "In tune", **fields) -> Clip:
    """A clip in which nothing was marked and with which nothing was asked."""
    clip = make_clip(enrolment, title, has_audio=True, **fields)
    listen_again(clip, measurement(IN_TUNE))
    return clip


def titles(client) -> list[str]:
    return [str(row.review.clip) for row in client.get(ADDRESS).context["rows"]]
