"""The long work on a clip: listening to its sound, and making what is played and drawn.

Each function takes a claimed stage, works on files beside their final place, and publishes in
one transaction. What it leaves on disk when it fails is removed here or by the orphan sweep.
"""

import mimetypes
import time
from collections.abc import Callable
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from django.db import DatabaseError, InterfaceError, transaction

from studio import media
from studio.clips import signals
from studio.clips.models import Clip, Listening, Original, Rendition, Stage
from studio.clips.storage import spool, work_folders
from studio.clips.storage.stores import store
from studio.jobs import leases
from studio.workers import pace

from . import rehearing, stages
from .examination import limits

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Made:
    """A finished file of one kind, not yet in any row."""

    kind: str
    stored: spool.Stored


def listen_to(stage: Stage) -> None:
    """Extract the sound, listen, and publish the listening with the waveform.

    The sound itself, 5 MB a minute, is not kept: nothing asks for it once it was heard, and it can
    be had from the original again.
    """
    begun = time.monotonic()
    clip, options = stage.clip, leases.patiently(lambda: _options(stage.clip))
    with _workshop(stage) as (bench, progress):
        wav = bench.part(".wav")
        sound = media.extract_sound(
            bench.source, wav, bench.info, limits(), on_progress=lambda p: progress(0.2 * p)
        )
        peaks = bench.part(".json")
        peaks.write_bytes(media.waveform_peaks(wav))
        measurement = _hear(wav, options, lambda p: progress(0.2 + 0.8 * p))
        made = [bench.keep(Rendition.Kind.PEAKS, peaks, "json")]

        def write(published: Clip) -> None:
            _record(published, made)
            _note(published, sound.notes)
            _listened(published, measurement)
            pace.note(stage.kind, clip.duration_s or 0.0, time.monotonic() - begun)

        stages.publish(stage, write)


def hear_anew(stage: Stage) -> None:
    """Listen once more, with the engine of now, and publish that beside the listening that was.

    It is told what the earlier engine was told, so that what differs is what was heard. It stops
    as soon as a new clip waits. Of the recording itself nothing is said anew: that was said.

    Raises
    ------
    leases.GivesWay
        When a new clip waits.
    """
    begun = time.monotonic()
    clip, before = stage.clip, leases.patiently(lambda: rehearing.newest_of(stage.clip_id))
    own = Stage.objects.filter(pk=stage.pk)  # not the row itself: publishing may begin again
    if rehearing.is_present(before):  # repaired meanwhile
        stages.publish(stage, lambda published: own.delete())
        return
    with _workshop(stage) as (bench, progress):
        wav, giving_way = bench.part(".wav"), rehearing.giving_way(progress)
        media.extract_sound(
            bench.source, wav, bench.info, limits(), on_progress=lambda p: giving_way(0.2 * p)
        )
        measurement = _hear(wav, rehearing.options_of(before), lambda p: giving_way(0.2 + 0.8 * p))

        def write(published: Clip) -> None:
            own.delete()
            _listened(published, measurement)
            pace.note(Stage.Kind.LISTENING, clip.duration_s or 0.0, time.monotonic() - begun)

        stages.publish(stage, write)


def prepare_playback(stage: Stage) -> None:
    """Make and publish the copy that browsers play, and its poster."""
    with _workshop(stage) as (bench, progress):
        name = "mp4" if bench.info.has_video else "m4a"
        playable = bench.part(f".{name}")
        played = media.make_playable(
            bench.source, playable, bench.info, limits(), on_progress=progress
        )
        made = [bench.keep(Rendition.Kind.PLAYABLE, playable, name)]
        if bench.info.has_video:
            poster = bench.part(".jpg")
            media.make_poster(bench.source, poster, bench.info, limits())
            made.append(bench.keep(Rendition.Kind.POSTER, poster, "jpg"))

        def write(published: Clip) -> None:
            _record(published, made)
            _note(published, played.notes)

        stages.publish(stage, write)


def prepare_small(stage: Stage) -> None:
    """Make and publish the smaller picture, for slow connections."""
    with _workshop(stage) as (bench, progress):
        small = bench.part(".mp4")
        media.make_small(bench.source, small, bench.info, limits(), on_progress=progress)
        made = [bench.keep(Rendition.Kind.SMALL, small, "mp4")]
        stages.publish(stage, lambda published: _record(published, made))


def _listened(clip: Clip, measurement: dict) -> None:
    listening = Listening.objects.create(
        clip=clip,
        engine=measurement["engine"],
        options=measurement["options"],
        input_sha256=clip.original.sha256,
        measurement=measurement,
    )
    signals.heard.send(sender=Clip, listening=listening)


def _options(clip: Clip) -> dict:
    """The pupil's instrument, and the studio's A if it has set one, as listening takes them."""
    instrument = clip.enrolment.instrument()
    settings = {"a4_hz": clip.enrolment.studio.a4_hz}
    if instrument is not None:
        settings |= {
            "instrument": instrument.kind,
            "string_length_mm": instrument.string_length_mm,
        }
    return settings


def _hear(wav: Path, options: dict, progress: Progress) -> dict:
    from studio.intonation import Options, listen

    y, sr = media.read_sound(wav)
    return listen(y, sr, Options(**options), on_progress=progress).to_dict()


class _Bench:
    """Where one stage's files are made, under names of this lease."""

    def __init__(self, stage: Stage, source: Path, cleaning: ExitStack):
        self.clip, self.source, self._cleaning = stage.clip, source, cleaning
        self.folder = spool.clip_folder(stage.clip_id)
        self.token = stage.lease_token[:8]
        self.info = media.MediaInfo.from_dict(stage.clip.info)
        self.kept: list[spool.Stored] = []

    def part(self, suffix: str) -> Path:
        """A fresh place on the bench, removed again at the end if it was not kept."""
        path = work_folders.path(suffix)
        self._cleaning.callback(path.unlink, missing_ok=True)
        return path

    def keep(self, kind: str, part: Path, suffix: str) -> Made:
        name = f"{self.folder}/{kind}-{self.token}.{suffix}"
        stored = spool.keep(spool.finished(part), name)
        self.kept.append(stored)
        return Made(kind, stored)

    def clear(self) -> None:
        """Remove what was kept, unless a row names it: the answer to a commit may get lost."""
        with suppress(
            DatabaseError, InterfaceError
        ):  # without it nobody knows: the sweep for orphans will
            for stored in self.kept:
                if not Rendition.objects.filter(path=stored.path).exists():
                    spool.remove(stored.path)


def _original(stage: Stage) -> Original:
    try:
        return stage.clip.original
    except Original.DoesNotExist:
        raise leases.LeaseLost(f"clip {stage.clip_id} was erased") from None


@contextmanager
def _workshop(stage: Stage):
    """A bench and a progress function; what was not published is removed again."""
    with ExitStack() as cleaning:
        original = leases.patiently(lambda: _original(stage))
        source = cleaning.enter_context(store().local(original.path))
        bench = _Bench(stage, source, cleaning)
        try:
            with leases.beating(stage) as progress:
                yield bench, progress
        except BaseException as error:
            bench.clear()
            if media.is_disk_full(error):
                raise media.Failed("disk_full", detail=str(error)) from error
            raise


def _record(clip: Clip, made: list[Made]) -> None:
    """Write the rows of finished files; what other attempts made goes when the rows are safe."""
    for one in made:
        Rendition.objects.update_or_create(
            clip=clip,
            kind=one.kind,
            defaults={
                "path": one.stored.path,
                "sha256": one.stored.sha256,
                "size_bytes": one.stored.size_bytes,
                "content_type": _content_type(one.stored.path),
            },
        )
        # Robust: what is published stays, even if this should fail.
        transaction.on_commit(lambda name=one.stored.path: _remove_others(name), robust=True)


def _remove_others(name: str) -> None:
    """Remove a clip's other files of the same kind: replaced, or left by a killed worker."""
    folder, _, own = name.rpartition("/")
    same = f"{folder}/{own.partition('-')[0]}-"
    for entry in list(store().entries(folder)):
        if entry.name.startswith(same) and entry.name != name:
            spool.remove(entry.name)


def _note(clip: Clip, notes: tuple[media.Note, ...]) -> None:
    """Add what only decoding could tell of the recording; a code is said once."""
    known = dict(clip.notes)
    known.update({note.code: dict(note.params) for note in notes})
    clip.notes = [list(pair) for pair in known.items()]
    clip.save(update_fields=["notes"])


def _content_type(path: str) -> str:
    if path.endswith(".m4a"):
        return "audio/mp4"
    return mimetypes.guess_type(path)[0] or "application/octet-stream"
