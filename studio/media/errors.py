"""What can go wrong with a recording, and what people are told.

Two families: :class:`Refused` is for the person who sent the recording to mend; trying again
without changing it is useless. :class:`Failed` is ours; trying again may help. Each carries a
``code`` (stable, stored in rows) and ``params``; the sentence is looked up here and nowhere
else. A sentence says what happened, what is kept, and what to do next.
"""

import errno
from dataclasses import dataclass
from types import MappingProxyType

from studio.figures import decimal
from studio.figures.translation import N_, _

REFUSED_SENTENCES = MappingProxyType(
    {
        "empty": N_("The file is empty: 0 bytes arrived. Record or choose it again, then send it."),
        "not_media": (
            N_(
                "This file is not a recording we can read, whatever its name says. "
                "Send a video (MP4, MOV, WebM) or a sound file (M4A, MP3, WAV, FLAC, OGG)."
            )
        ),
        "playlist": (
            N_(
                "This file is only a list that points at other files; it holds no recording "
                "itself. "
                "Send the recording it points at."
            )
        ),
        "too_many_bytes": (
            N_(
                "The file is {size_mb} MB; at most {limit_mb} MB can be sent. "
                "Film a shorter clip, or choose a lower picture quality in the camera's settings."
            )
        ),
        "too_long": (
            N_(
                "The recording lasts {duration}; at most {limit} can be sent. "
                "Cut it into shorter clips and send them one by one."
            )
        ),
        "too_large_picture": (
            N_(
                "The picture is {width} × {height} dots; at most {limit} million dots are "
                "accepted. "
                "Film in 4K or, better, in HD (1080p or 720p), and send it again."
            )
        ),
        "no_duration": (
            N_(
                "The recording has no length: it holds no more than {duration_s} seconds. "
                "Record it again, and check that it plays before you send it."
            )
        ),
        "unfinished": (
            N_(
                "The recording did not finish saving, so it cannot be played. "
                "This happens when a camera is switched off while filming. Record it again."
            )
        ),
        "overfull": (
            N_(
                "The file asks for far more room than a clip of its length needs, so it was not "
                "opened. Save it once more with the camera's own program, or record it again."
            )
        ),
        "protected": (
            N_(
                "The recording is locked by copy protection and cannot be opened. "
                "Send one that you filmed yourself."
            )
        ),
        "unreadable": (
            N_(
                "The recording was opened, but nothing in it can be played. "
                "Check that it plays on your own device; if not, record it again."
            )
        ),
        "no_sound": (
            N_(
                "The recording has no sound to listen to. The picture is kept and can be watched. "
                "Check that the microphone is allowed, then record it again."
            )
        ),
    }
)

FAILED_SENTENCES = MappingProxyType(
    {
        "timeout": (
            N_(
                "Preparing the recording took longer than {limit_s} seconds and was stopped. "
                "The recording is kept as it was sent."
            )
        ),
        "disk_full": (
            N_(
                "There is no room left on the server's disk. The recording is kept as it was sent; "
                "it will be tried again when there is room."
            )
        ),
        "output_too_large": (
            N_(
                "Preparing the recording made more than {limit_mb} MB and was stopped. "
                "The recording is kept as it was sent."
            )
        ),
        "tool_missing": (
            N_(
                "The program {tool} was not found on the server. The recording is kept; whoever "
                "looks after the server has to install it (or set {variable} to where it is)."
            )
        ),
        "killed": (
            N_(
                "The program that opens recordings was stopped before it had finished. That is our "
                "fault, not the recording's, which is kept as it was sent."
            )
        ),
        "no_memory": (
            N_(
                "The server had too little memory to open the recording. That is our fault, not "
                "the "
                "recording's, which is kept as it was sent."
            )
        ),
        "crashed": (
            N_(
                "The program that prepares recordings stopped unexpectedly (exit {exit_code}). "
                "The recording is kept as it was sent."
            )
        ),
        "file_missing": N_("The file {name} is not there. Check the path, or the file store."),
    }
)

NOTE_SENTENCES = MappingProxyType(
    {
        "salvaged": (
            N_(
                "The file broke off: the first {got_s} s of {stated_s} s could be saved. "
                "Everything after that is missing from what was sent."
            )
        ),
        "broke_off": N_("The file broke off: its end is missing. What arrived is kept."),
        "damaged": (
            N_(
                "Parts of the recording are damaged. What could be read is kept; "
                "there may be short gaps."
            )
        ),
        "late_picture": (
            N_(
                "The picture began {cut_s} s after the sound. What was played before it is not "
                "kept."
            )
        ),
        "no_sound": REFUSED_SENTENCES["no_sound"],
        "no_picture": N_("The recording has no picture. The sound is kept and can be heard."),
        "silent": N_("The recording is silent. Check the microphone before recording again."),
    }
)


SHORT_BY_S = 0.2  # a recording that ends this much before its stated end was cut off


class MediaError(Exception):
    """Base of both families. ``code`` is stable; ``params`` fill the sentence.

    ``detail`` is for the log: the last lines of the program's own messages, never for a page.
    """

    sentences: MappingProxyType[str, str] = MappingProxyType({})

    def __init__(self, code: str, *, detail: str = "", **params: object) -> None:
        if code not in self.sentences:
            raise ValueError(f"unknown code {code!r}; known: {', '.join(self.sentences)}")
        self.code = code
        self.params = params
        self.detail = detail
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The plain sentence for the person concerned."""
        return _(self.sentences[self.code]).format(**self.params)


class Refused(MediaError):
    """The recording itself cannot be used; the sender can mend it, a retry cannot."""

    sentences = REFUSED_SENTENCES


class Failed(MediaError):
    """Our fault or the machine's; the recording is kept and a retry may succeed."""

    sentences = FAILED_SENTENCES


def is_disk_full(error: BaseException) -> bool:
    """Whether ``error`` says that a disk, or a share of one, has no room left."""
    return isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT)


@dataclass(frozen=True, slots=True)
class Note:
    """Something worth saying about a recording that could be used all the same."""

    code: str
    params: tuple[tuple[str, str], ...] = ()

    @property
    def sentence(self) -> str:
        """The plain sentence for the person concerned."""
        return _(NOTE_SENTENCES[self.code]).format(**dict(self.params))


def salvaged(got_s: float, stated_s: float) -> Note:
    """Note that only the first ``got_s`` of ``stated_s`` seconds could be read."""
    return Note("salvaged", (("got_s", decimal(got_s, 1)), ("stated_s", decimal(stated_s, 1))))


def reading_notes(
    *, is_partial: bool, got_s: float, stated_s: float, damaged: bool
) -> tuple[Note, ...]:
    """What to say after ``got_s`` of ``stated_s`` seconds came out of a recording."""
    if is_partial and stated_s - got_s > SHORT_BY_S:
        return (salvaged(got_s, stated_s),)
    if is_partial:
        return (Note("broke_off"),)
    return (Note("damaged"),) if damaged else ()
