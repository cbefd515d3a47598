"""What a new comment's form brings along: examined before the comment is saved, kept with it."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from django.http import HttpRequest

from studio.review.models import Comment

from . import services
from .receiving import NotTaken, Recording, received


@dataclass(slots=True)
class Brought:
    """A recording, or why it cannot be used."""

    recording: Recording | None = None
    problems: list[str] = field(default_factory=list)

    @property
    def speaks(self) -> bool:
        """Whether words may be left out; what was refused has its own sentence."""
        return bool(self.recording or self.problems)

    def put_into(self, comment: Comment) -> None:
        """Inside the transaction that saves the comment. A form that is sent again replaces."""
        if self.recording is not None:
            services.enclose(comment, self.recording, instead=True)


@contextmanager
def brought(request: HttpRequest) -> Iterator[Brought]:
    """What came with a form; what was not kept by the end of the context is removed."""
    found, file = Brought(), request.FILES.get("recording")
    with ExitStack() as cleaning:
        if file is not None:
            try:
                found.recording = cleaning.enter_context(received(file.chunks()))
            except NotTaken as refusal:
                found.problems.append(f"The reply was not added. {refusal}")
        yield found
