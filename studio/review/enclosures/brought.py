"""What a new comment's form brings along: examined before the comment is saved, kept with it."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from django.http import HttpRequest

from studio.review.models import Comment

from . import services
from .receiving import NotTaken, Recording, received
from .strokes import Drawing, read

MOST_WORDS = 300
WORDS_WANTED = "Say in words what the drawing shows, for whoever cannot see it."


@dataclass(slots=True)
class Brought:
    """A recording and a drawing, or why one cannot be used."""

    recording: Recording | None = None
    drawing: Drawing | None = None
    words: str = ""
    problems: list[str] = field(default_factory=list)

    @property
    def speaks(self) -> bool:
        """Whether words may be left out; what was refused has its own sentence."""
        return bool(self.recording or self.drawing or self.problems)

    def put_into(self, comment: Comment, *, instead: bool) -> None:
        """Inside a transaction. With ``instead`` a form that is sent again replaces what it made.

        Raises
        ------
        Conflict
            When the comment has another of its kind by now.
        """
        if self.recording is not None:
            services.enclose(comment, self.recording, instead=instead)
        if self.drawing is not None:
            services.draw(comment, self.drawing, self.words, instead=instead)


@contextmanager
def brought(request: HttpRequest) -> Iterator[Brought]:
    """What came with a form; what was not kept by the end of the context is removed."""
    found, file = Brought(), request.FILES.get("recording")
    with ExitStack() as cleaning:
        if file is not None:
            try:
                found.recording = cleaning.enter_context(
                    received(file.chunks(), file.content_type or "")
                )
            except NotTaken as refusal:
                found.problems.append(f"The reply was not added. {refusal}")
        try:
            found.drawing, found.words = drawn(request)
        except NotTaken as refusal:
            found.problems.append(str(refusal))
        yield found


def drawn(request: HttpRequest) -> tuple[Drawing | None, str]:
    """The drawing that came with a form, and what it shows in words.

    Raises
    ------
    NotTaken
        When it cannot be read, or nobody said what it shows.
    """
    words = " ".join(request.POST.get("drawing_words", "").split())
    try:
        drawing = read(request.POST.get("drawing", ""))
    except ValueError as error:
        raise NotTaken(str(error)) from None
    if drawing is not None and not words:
        raise NotTaken(WORDS_WANTED)
    if len(words) > MOST_WORDS:
        raise NotTaken(f"What the drawing shows has {len(words)} letters; at most {MOST_WORDS}.")
    return drawing, words
