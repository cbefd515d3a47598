"""A pupil's clips, what was said of them and her drills, as files; and what a page says of them.

What the pupil can see of a clip is in the copy, and what was measured of it. What a teacher is
still writing about a clip is not (:mod:`studio.review.personal_data`). Replies that a teacher
recorded go along while consent holds, as on the pupil's own page; without what the device wrote
into them.
"""

import base64
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import consent
from studio.clips import sentences
from studio.clips.models import Clip, Rendition
from studio.drills import access as drills
from studio.drills.models import Assignment
from studio.notation.musicxml import to_musicxml
from studio.review.enclosures import drawings
from studio.review.enclosures.snapshots import NAMES
from studio.review.marks.judging import judged
from studio.review.models import EnclosedFile, Enclosure, Return
from studio.review.web.shared.moments import moments
from studio.rights import access
from studio.rights.access import Scope
from studio.translating import gettext_lazy

from . import annotations, measurements, webvtt
from .archive import Archive
from .names import Names, cleaned, in_words

SCHEMA_FILE = f"schemas/{measurements.SCHEMA}"
SMALLER = (
    gettext_lazy("Smaller pictures of the clips, and outlines of their sound"),
    gettext_lazy("They were made from the recordings that are here, and show nothing more."),
)
NOT_PREPARED = gettext_lazy("It is not prepared yet; it is in a copy that is made later.")
OVER = gettext_lazy("Its time was over; what was measured and written of it is here.")
NOT_AGREED = gettext_lazy(
    "Consent to recordings does not hold, and without it nobody gets what the teacher recorded or "
    "drew in reply. It is in a copy that is made once it holds again."
)
AS_RECORDED = (
    gettext_lazy("Teachers’ replies as their devices recorded them"),
    gettext_lazy(
        "Such a file says what device made it, and perhaps where: that is about the teacher. What "
        "is played of it is here, with the same picture and sound."
    ),
)
KINDS = {"voice": "Sound", "video": "Video", "drawing": "Image"}


@dataclass(slots=True)
class Shown:
    """A clip as the page shows it; names of files from the top of the copy."""

    clip: Clip
    folder: str
    files: dict[str, str] = field(default_factory=dict)  # by what they are
    refusal: str = ""
    moments: list[dict] = field(default_factory=list)
    returned: Return | None = None
    captions: str = ""  # as an address that holds them: a page from a disk may load no track
    heard: dict[str, int] = field(default_factory=dict)


def clips_of(scope: Scope) -> QuerySet[Clip]:
    """The clips of a pupil's lessons in a studio, the first first; none that were erased."""
    found = access.clips_of(scope).select_related("uploaded_by", "original")
    return found.order_by("created_at", "pk")


def size_bytes(scope: Scope) -> int:
    """About how much a copy of the lessons holds."""
    clips = clips_of(scope).values("pk")
    playable = Rendition.objects.filter(clip__in=clips, kind=Rendition.Kind.PLAYABLE)
    replies = EnclosedFile.objects.filter(clip__in=clips, kind=EnclosedFile.Kind.SHOWN)
    sizes = list(clips_of(scope).values_list("original__size_bytes", flat=True))
    for rows in (playable, replies):
        sizes += rows.values_list("size_bytes", flat=True)
    return sum(size or 0 for size in sizes)


def write(
    archive: Archive, scope: Scope, for_guardian: bool, tell: Callable[[str], object]
) -> list[Shown]:
    """Every clip with all that goes with it; ``tell`` hears which one is being put in."""
    archive.json(SCHEMA_FILE, measurements.schema())
    folders, clips = Names(), list(clips_of(scope).values_list("pk", flat=True))
    shown = []
    for number, pk in enumerate(clips, 1):
        tell(f"clip {number} of {len(clips)}")
        clip = clips_of(scope).prefetch_related("renditions").filter(pk=pk).first()
        if clip is not None:  # else it was erased just now
            shown.append(_Clip(archive, clip, folders, for_guardian).write())
    return shown


class _Clip:
    """One clip on its way into the copy."""

    def __init__(self, archive: Archive, clip: Clip, folders: Names, for_guardian: bool) -> None:
        day = timezone.localtime(clip.created_at).date().isoformat()
        name = folders.free(f"{day}-{in_words(clip.title, 'clip')}")
        self._archive, self._clip, self._for_guardian = archive, clip, for_guardian
        self._shown = Shown(clip, f"clips/{name}", refusal=sentences.refusal(clip))
        self._what = f"“{clip}” of {day}"

    def write(self) -> Shown:
        self._recordings()
        returned = Return.objects.visible().filter(review__clip=self._clip)
        self._shown.returned = returned.select_related("returned_by", "review").first()
        self._measured()
        if self._shown.returned:
            self._said(self._shown.returned)
        return self._shown

    def _name(self, name: str) -> str:
        return f"{self._shown.folder}/{name}"

    def _recordings(self) -> None:
        original = getattr(self._clip, "original", None)
        if original is not None:
            self._keep("original", f"original/{cleaned(original.filename)}", original)
        for kind in (Rendition.Kind.PLAYABLE, Rendition.Kind.POSTER):
            made = self._clip.rendition(kind)
            if made is not None:
                self._keep(kind, f"{kind}{PurePosixPath(made.path).suffix}", made)
            elif kind == Rendition.Kind.PLAYABLE and original is not None:
                self._archive.leave_out(
                    _("The copy for playing of %(what)s") % {"what": self._what}, NOT_PREPARED
                )
        if self._clip.recording_gone_at is not None:
            self._archive.leave_out(_("The recording of %(what)s") % {"what": self._what}, OVER)
        self._archive.leave_out(*SMALLER)

    def _keep(self, what: str, name: str, row) -> None:
        path = self._archive.stored(self._name(name), row, f"{row.path} of {self._what}")
        if path:
            self._shown.files[what] = path

    # -- measured ------------------------------------------------------------------------------

    def _measured(self) -> None:
        listening = self._clip.listenings.order_by("-created_at", "-pk").first()
        if listening is None:
            return
        found = judged(self._shown.returned.review) if self._shown.returned else None
        said = found.judgement if found and found.listening.pk == listening.pk else None
        measured = listening.measurement
        archive, files = self._archive, self._shown.files
        document = measurements.document(measured, said)
        files["measurement"] = archive.json(self._name("measurement.json"), document)
        table = measurements.intervals(measured, said)
        files["intervals"] = archive.text(self._name(measurements.INTERVALS), table)
        table = measurements.voices(measured)
        files["voices"] = archive.text(self._name(measurements.VOICES), table)
        archive.json(self._name(measurements.DESCRIPTION), measurements.description())
        kinds = [event["kind"] for event in measured.get("events", ())]
        self._shown.heard = {kind: kinds.count(kind) for kind in set(kinds)}

    # -- said ----------------------------------------------------------------------------------

    def _said(self, returned: Return) -> None:
        found = moments(returned.snapshot, self._clip.duration_s, for_guardian=self._for_guardian)
        agreed = consent.is_given(self._clip.enrolment)
        for moment in found:
            moment["who"] = moment.get("author") or returned.returned_by.name
            moment["replies"] = [self._reply(each, agreed) for each in moment.get("enclosures", ())]
        self._shown.moments = found
        captions = webvtt.document(str(self._clip), map(_cue, found))
        self._shown.files["captions"] = self._archive.text(self._name("comments.vtt"), captions)
        encoded = base64.b64encode(captions.encode()).decode()
        self._shown.captions = f"data:text/vtt;charset=utf-8;base64,{encoded}"
        about = PurePosixPath(
            self._shown.files.get("playable") or self._shown.files.get("original", "playable")
        ).name
        page = annotations.page(
            self._clip.pk,
            _("What was said of %(what)s") % {"what": self._what},
            about,
            returned.returned_at.isoformat(),
            map(_annotated, found),
        )
        self._shown.files["annotations"] = self._archive.json(
            self._name("annotations.jsonld"), page
        )

    def _reply(self, said: dict, agreed: bool) -> dict:
        """What goes with a comment: its file, or why there is none."""
        what = f"{NAMES[said['kind']]} with {self._what}"
        row = EnclosedFile.objects.filter(
            enclosure=said["id"], kind=EnclosedFile.Kind.SHOWN, clip=self._clip
        ).first()
        reply = {"name": NAMES[said["kind"]], "kind": said["kind"], "words": said["words"]}
        if said["kind"] != Enclosure.Kind.DRAWING:
            self._archive.leave_out(*AS_RECORDED)
        if row is None or not agreed:
            missing = OVER if self._clip.recording_gone_at else NOT_PREPARED
            why = NOT_AGREED if row else missing
            self._archive.leave_out(what, why)
            return reply | {"file": "", "why": why}
        name = f"{said['kind']}{PurePosixPath(row.path).suffix}"
        path = self._archive.stored(self._name(name), row, what)
        reply |= {"file": path, "content_type": row.content_type}
        if said["kind"] == Enclosure.Kind.DRAWING and path:
            reply |= self._drawing(said, path)
        return reply

    def _drawing(self, said: dict, picture: str) -> dict:
        """The strokes over the picture, as a file of their own too (SVG)."""
        drawn = {
            "shapes": drawings.shapes(said["strokes"]),
            "height": round(drawings.UNITS * said["aspect"]),
            "picture": PurePosixPath(picture).name,
            "words": said["words"],
        }
        svg = render_to_string("rights/copy/drawing.svg", drawn)
        path = self._archive.text(str(PurePosixPath(picture).with_suffix(".svg")), svg)
        return drawn | {"svg": path, "content_type": "image/svg+xml"}


def _cue(moment: dict) -> webvtt.Cue:
    about = f"{moment['on']}: " if moment.get("on") else ""
    return webvtt.Cue(moment["start_s"], moment.get("end_s"), about + moment["text"], moment["who"])


def _annotated(moment: dict) -> annotations.Said:
    attached = [
        annotations.Attached(
            KINDS[reply["kind"]],
            PurePosixPath(reply.get("svg") or reply["file"]).name,
            reply["content_type"],
        )
        for reply in moment["replies"]
        if reply["file"]
    ]
    return annotations.Said(
        moment["start_s"],
        moment.get("end_s"),
        moment["text"],
        moment["who"],
        moment.get("kind_name", ""),
        attached,
    )


# -- drills --------------------------------------------------------------------------------


def write_drills(archive: Archive, scope: Scope) -> list[dict]:
    """The drills that were given, each with its page of music where it has one (MusicXML)."""
    here = {"enrolment__pupil": scope.person, "enrolment__studio": scope.studio}
    given = Assignment.objects.filter(drills.published(), **here).order_by("set_at", "pk")
    pages: dict[int, str] = {}
    found = []
    for assignment in given.select_related("version", "set_by").iterator(chunk_size=50):
        version = assignment.version
        if version.pk not in pages:
            name = f"drills/{in_words(version.title, 'drill')}.musicxml"
            score = version.page
            pages[version.pk] = archive.text(name, to_musicxml(score)) if score else ""
        found.append({"assignment": assignment, "file": pages[version.pk]})
    return found
