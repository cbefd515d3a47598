"""A studio at full work: pupils send, the teacher comments and decides, clips are erased.

Everything goes to the running web server, as browsers would send it, but for erasing, which has
no page; workers hear and prepare what comes. What was acknowledged is kept in lists, so that a
test can ask later whether it is still there.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from uuid import UUID, uuid4

from django.db import connections

from studio.clips import services
from studio.clips.models import Clip
from studio.review.marks.judging import judged
from studio.review.models import Comment, Review
from tests.cast import Cast
from tests.deploy.processes import until
from tests.faults.at_work import a_recording
from tests.visitors import Visitor


@dataclass
class Traffic:
    """Who does what in a studio at ``url``. At most ``most`` clips are sent under way."""

    url: str
    cast: Cast
    most: int
    sent: list[str] = field(default_factory=list)  # titles of clips that were received
    erased: list[UUID] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)
    decisions: int = 0

    def __post_init__(self) -> None:
        self._stop = threading.Event()
        self._pupil = Visitor(self.url, self.cast.pupil)
        self._teacher = Visitor(self.url, self.cast.teacher)
        self._problems: list[BaseException] = []

    def send(self, title: str) -> Clip:
        """Send a clip as the pupil, and see that it was received."""
        key = uuid4().hex
        status = self._pupil.send_clip(a_recording(), "take.mp4", title=title, upload_key=key)
        assert status == 302, status
        self.sent.append(title)
        return Clip.objects.get(title=title)

    def erase(self, clip: Clip) -> None:
        services.erase(clip)
        self.erased.append(clip.pk)

    def comment(self, clip: Clip) -> None:
        text = f"Said {len(self.comments)}"
        assert self._teacher.comment(clip.pk, text) == 302
        self.comments.append(text)

    def decide(self, clip: Clip) -> None:
        """Keep the first mark of a clip that was heard, or drop it when it was kept."""
        now = judged(Review.objects.get(clip=clip))
        assert now is not None
        mark = now.marks[0]
        choice = "dropped" if mark.choice == "kept" else "kept"
        said = {"choice": choice, "words": mark.sentence, "listening": now.listening.pk}
        assert self._teacher.post(f"/clips/{clip.pk}/marks/{mark.id}/", **said) == 302
        self.decisions += 1

    @contextmanager
    def under_way(self, heard: Clip) -> Iterator[None]:
        """All of it at once, until the body has ended and something of each has happened."""
        jobs = (
            self._send_and_erase,
            lambda: self._again(lambda: self.comment(heard)),
            lambda: self._again(lambda: self.decide(heard)),
        )
        threads = [threading.Thread(target=self._do, args=(job,)) for job in jobs]
        for thread in threads:
            thread.start()
        try:
            until(self._all_began, 60, "something of each has happened")
            yield
        finally:
            self._stop.set()
            for thread in threads:
                thread.join()
        if self._problems:
            raise self._problems[0]

    def counts(self) -> str:
        return (
            f"{len(self.sent)} clips sent, {len(self.comments)} comments, "
            f"{self.decisions} decisions, {len(self.erased)} erasures"
        )

    def _all_began(self) -> bool:
        return bool(self._problems or (self.erased and self.comments and self.decisions))

    def _send_and_erase(self) -> None:
        for number in range(self.most):
            if self._stop.is_set():
                return
            clip = self.send(f"under way {number}")
            if number % 2 == 0:
                self.erase(clip)

    def _again(self, act: Callable[[], None]) -> None:
        while not self._stop.is_set():
            act()

    def _do(self, job: Callable[[], None]) -> None:
        try:
            job()
        except BaseException as problem:
            self._problems.append(problem)
        finally:
            connections.close_all()


def comments_there() -> set[str]:
    return set(Comment.objects.values_list("text", flat=True))
