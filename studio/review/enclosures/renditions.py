"""Making what is played or shown of an enclosure, by a worker that holds its row."""

from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path

from django.db import DatabaseError, InterfaceError
from django.utils.translation import gettext as _

from studio import media
from studio.clips.models import Rendition
from studio.clips.processing import examination, stages
from studio.clips.storage import spool, work_folders
from studio.clips.storage.stores import store
from studio.jobs import leases
from studio.review.models import EnclosedFile, Enclosure

from .intake import limits
from .services import folder

Shown = EnclosedFile.Kind.SHOWN


def prepare(enclosure: Enclosure) -> None:
    """Make and publish the one file of an enclosure that is ever served."""
    if enclosure.kind == Enclosure.Kind.DRAWING:
        _prepare_still(enclosure)
    else:
        _prepare_recording(enclosure)


def _prepare_recording(enclosure: Enclosure) -> None:
    original = leases.patiently(lambda: _original(enclosure))
    if not enclosure.info:
        _look_at(enclosure, original)
    info = media.MediaInfo.from_dict(enclosure.info)
    ending, content_type = ("mp4", "video/mp4") if info.has_video else ("m4a", "audio/mp4")

    def make(source: Path, target: Path, progress: Callable[[float], None]) -> None:
        media.make_playable(source, target, info, limits(), on_progress=progress)

    _publish(enclosure, original.path, make, ending, content_type)


def _look_at(enclosure: Enclosure, original: EnclosedFile) -> None:
    """The first look, which nothing could take when it came."""
    with leases.beating(enclosure), store().local(original.path) as source:
        info = media.probe(source, limits())
    enclosure.info, enclosure.duration_s = info.to_dict(), info.duration_s
    enclosure.kind = Enclosure.Kind.VIDEO if info.has_video else Enclosure.Kind.VOICE
    found = {name: getattr(enclosure, name) for name in ("info", "duration_s", "kind")}
    if not leases.patiently(lambda: leases.still_held(enclosure).update(**found)):
        raise leases.LeaseLost(f"enclosure {enclosure.pk} is no longer held by this worker")


def _prepare_still(enclosure: Enclosure) -> None:
    """The clip's own picture, under the strokes."""
    playable = leases.patiently(lambda: _playable(enclosure))

    def make(source: Path, target: Path, progress: Callable[[float], None]) -> None:
        media.make_still(source, target, enclosure.frame_s or 0.0, examination.limits())

    _publish(enclosure, playable.path, make, "jpg", "image/jpeg")


def _publish(
    enclosure: Enclosure, source_name: str, make: Callable, ending: str, content_type: str
) -> None:
    name = f"{folder(enclosure)}/shown-{enclosure.lease_token[:8]}.{ending}"
    with ExitStack() as cleaning:
        source = cleaning.enter_context(store().local(source_name))
        part = work_folders.path(f".{ending}")
        cleaning.callback(part.unlink, missing_ok=True)
        try:
            with leases.beating(enclosure) as progress:
                make(source, part, progress)
                stored = spool.keep(spool.finished(part), name)
                stages.publish(enclosure, lambda clip: _write(enclosure, stored, content_type))
        except BaseException as error:
            _clear(name)
            if media.is_disk_full(error):
                raise media.Failed("disk_full", detail=str(error)) from error
            raise


def _write(enclosure: Enclosure, stored: spool.Stored, content_type: str) -> None:
    """The row of the new file; one that another attempt published goes, with its file."""
    for before in EnclosedFile.objects.filter(enclosure=enclosure, kind=Shown):
        if before.path == stored.path:
            return
        before.delete()
    EnclosedFile.objects.create(
        enclosure=enclosure,
        clip=enclosure.clip,
        kind=Shown,
        path=stored.path,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        content_type=content_type,
    )


def _clear(name: str) -> None:
    """Remove what was kept, unless a row names it: the answer to a commit may get lost."""
    with suppress(
        DatabaseError, InterfaceError
    ):  # without it nobody knows: the sweep for orphans will
        if not EnclosedFile.objects.filter(path=name).exists():
            spool.remove(name)


def _playable(enclosure: Enclosure) -> Rendition:
    playable = Rendition.objects.filter(clip=enclosure.clip, kind=Rendition.Kind.PLAYABLE).first()
    if playable is None:
        raise media.Failed("file_missing", name=_("the clip’s playable copy"))
    return playable


def _original(enclosure: Enclosure) -> EnclosedFile:
    original = EnclosedFile.objects.filter(
        enclosure=enclosure, kind=EnclosedFile.Kind.ORIGINAL
    ).first()
    if original is None:
        raise leases.LeaseLost(f"enclosure {enclosure.pk} was removed")
    return original
