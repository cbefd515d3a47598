"""Receiving and erasing clips: what changes several rows and files."""

import logging
from collections.abc import Callable, Iterable
from contextlib import suppress
from uuid import UUID, uuid4

from django.conf import settings
from django.db import DatabaseError, IntegrityError, InterfaceError, transaction
from django.db.models import F, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import audit, consent
from studio.accounts.models import Enrolment, Person
from studio.clips.processing.stages import dispatch
from studio.jobs import leases

from . import quota, signals
from .models import Clip, Original, Rendition, Stage, Viewing, file_models
from .processing import examination
from .storage import erasure_log, spool
from .storage.stores import store

log = logging.getLogger(__name__)


class SentBefore(Exception):
    """The same recording is there already, as ``clip``.

    ``spooled`` is the new file, left on the bench for whoever catches this; None when it is gone.
    """

    def __init__(self, clip: Clip, spooled: spool.Spooled | None = None):
        super().__init__(_("the same recording is there as clip %(clip)s") % {"clip": clip.pk})
        self.clip, self.spooled = clip, spooled


def receive(
    enrolment: Enrolment,
    person: Person,
    chunks: Iterable[bytes],
    filename: str,
    *,
    title: str = "",
    note: str = "",
    subject: str = "",
    upload_key: str = "",
    again: bool = False,
    also: Callable[[Clip], object] = lambda clip: None,
) -> Clip:
    """Take in one recording: stream it to disk, look at its content, then write the rows.

    The file is whole, hashed and synced before any row names it. A recording that cannot be
    used becomes a refused clip, which says why, and its file is not kept; one that could not be
    looked at for a reason of ours is kept, and a worker looks again. The same recording
    under the same ``upload_key`` gives the clip of the first time; under another key it is taken
    only if it is wanted ``again``. ``also`` is called with a received clip in the transaction that
    writes its rows.

    Raises
    ------
    SentBefore
        When the pupil has sent the same bytes to this studio before, and they are not erased.
    spool.TooLarge, OSError
        When more bytes come than may, or the disk refuses. Nothing is kept.
    quota.OverQuota
        When as much was sent in a day as may be. Nothing is kept.
    ConsentMissing
        While consent to recordings does not hold. Nothing is read.
    """
    consent.require_for_sending(enrolment)
    key = upload_key[:64]
    is_new = not (key and Clip.objects.filter(enrolment=enrolment, upload_key=key).exists())
    if is_new:
        quota.require(enrolment)
    spooled = spool.spool(chunks, settings.MAX_UPLOAD_BYTES)
    try:
        if is_new:
            quota.require(enrolment, spooled.size_bytes)
    except quota.OverQuota:
        spooled.path.unlink(missing_ok=True)
        raise
    words = {"title": title, "note": note, "subject": subject}
    said = {**words, "upload_key": upload_key, "again": again}
    return take_in(enrolment, person, spooled, filename, **said, ask_quota=is_new, also=also)


def take_in(
    enrolment: Enrolment,
    person: Person,
    spooled: spool.Spooled,
    filename: str,
    *,
    title: str = "",
    note: str = "",
    subject: str = "",
    upload_key: str = "",
    again: bool = False,
    unseen: bool = False,
    ask_quota: bool = False,
    also: Callable[[Clip], object] = lambda clip: None,
) -> Clip:
    """As :func:`receive`, for a recording that is on the bench already.

    It does not stay there, unless :class:`SentBefore` hands it back. ``unseen`` leaves the first
    look to a worker: this process would be one more that dies of it. ``ask_quota`` asks once more
    with the row itself, for what no upload counts yet: others may have sent since.
    """
    clip = Clip(id=uuid4(), enrolment=enrolment, uploaded_by=person, upload_key=upload_key[:64])
    clip.title, clip.note, clip.subject = _cut(title, note, subject)
    handed_back = False
    try:
        consent.require_for_sending(enrolment)  # once more: it may have been withdrawn since
        if not again and (before := _sent_before(clip, spooled)):
            handed_back = True
            raise SentBefore(before, spooled)
        clip.intake = Clip.Intake.RECEIVED
        why = None if unseen else examination.look_at(clip, spooled.path)
        seen = not unseen and why is None

        def begun() -> None:
            signals.received.send(sender=Clip, clip=clip)
            if seen:
                examination.begin(clip)
            else:
                examination.begin_again(clip, why)
            examination.send_what_waits(clip, dispatch)
            also(clip)

        check = _ask_quota if ask_quota else _nothing
        return _record(clip, spooled, filename, again, check, begun)
    finally:
        if not handed_back:
            spooled.path.unlink(missing_ok=True)


def say_anew(clip: Clip, title: str, note: str, subject: str) -> None:
    """Other words about a clip that has only just arrived."""
    clip.title, clip.note, clip.subject = _cut(title, note, subject)
    words = {"title": clip.title, "note": clip.note, "subject": clip.subject}
    Clip.objects.filter(pk=clip.pk, erased_at=None).update(**words)


def put_away(clip: Clip, by: Person | None = None) -> None:
    """Take a refused clip out of sight for good: there is no file, only what was said of it.

    ``by`` is nobody where its time was over.
    """
    if clip.intake == Clip.Intake.REFUSED:
        erase(clip, by, _("it was refused") if by else _("it was refused, and its time was over"))


def put_refused_away() -> int:
    """Put away what was refused long enough ago to have been read; says how many."""
    long_ago = timezone.now() - Clip.REFUSED_SHOWN
    refused = Clip.objects.filter(
        intake=Clip.Intake.REFUSED, erased_at=None, created_at__lte=long_ago
    )
    gone = list(refused)
    for clip in gone:
        put_away(clip)
    return len(gone)


def let_sounds_go(at_most: int = 500) -> int:
    """Remove the sound that was kept of clips that were listened to; says how many."""
    heard = Stage.objects.filter(kind=Stage.Kind.LISTENING, state=Stage.State.HEARD)
    sounds = Rendition.objects.filter(kind=Rendition.Kind.SOUND, clip__in=heard.values("clip"))
    gone = list(sounds[:at_most])
    for sound in gone:
        with transaction.atomic():
            sound.delete()
            transaction.on_commit(lambda path=sound.path: spool.remove(path))
    return len(gone)


def erase(clip: Clip, by: Person | None = None, detail: str = "") -> None:
    """Erase a clip's files and what its rows say. Work under way is no longer its worker's.

    ``by`` is nobody for a command; ``detail`` is why, in words for the studio's log.
    """
    erasure_log.note(clip.pk)  # first, so that a restore can never miss it
    with transaction.atomic():
        if Clip.objects.filter(pk=clip.pk, erased_at=None).exists():
            place, act = clip.enrolment, audit.Act.ERASED
            audit.record(
                act, by=by, studio=place.studio, about=place.pupil, clip=clip.pk, detail=detail
            )
        Clip.objects.filter(pk=clip.pk).update(
            erased_at=timezone.now(),
            generation=F("generation") + 1,
            title="",
            note="",
            subject="",
            info={},
        )
        Stage.objects.filter(clip=clip).delete()
        Viewing.objects.filter(clip=clip).delete()
        signals.erased.send(sender=Clip, clip=clip)
        for model in file_models():
            for row in model.objects.filter(clip=clip):
                row.delete()
                transaction.on_commit(lambda path=row.path: spool.remove(path))


def hide(clips: QuerySet[Clip]) -> None:
    """Clips that are to be erased: from now on nobody reaches them, and no work on them counts.

    Call it in a transaction; :func:`remove_folder` and deleting the rows is the rest.
    """
    now = timezone.now()
    found = list(clips.filter(erased_at=None).select_related("enrolment"))
    clips.filter(erased_at=None).update(erased_at=now, generation=F("generation") + 1)
    Stage.objects.filter(
        clip__in=found
    ).delete()  # after the clips, as whoever publishes locks them
    signals.hidden.send(sender=Clip, clips=found)


def remove_folder(clip_id: UUID) -> None:
    """Remove all files of a clip, those that no row names too. Twice does no harm."""
    place = store()
    for entry in list(place.entries(spool.clip_folder(clip_id))):
        place.delete(entry.name)


def begin_an_owed_small() -> Clip | None:
    """While no picture is being made: begin the smaller one of a clip that is older than those.

    The newest clip first; one at a time, so that what is sent now never waits for long.
    """
    pictures = Stage.objects.exclude(kind__in=(Stage.Kind.LISTENING, Stage.Kind.REHEARING))
    if pictures.filter(state__in=(Stage.State.WAITING, Stage.State.WORKING)).exists():
        return None
    owed = Clip.objects.filter(
        intake=Clip.Intake.RECEIVED, has_video=True, erased_at=None, original__isnull=False
    ).exclude(pk__in=Stage.objects.filter(kind=Stage.Kind.SMALL).values("clip_id"))
    clip = owed.order_by("-created_at").first()
    if clip is None:
        return None
    _rest, made = Stage.objects.get_or_create(clip=clip, kind=Stage.Kind.SMALL)
    if made:
        dispatch(clip.pk, Stage.Kind.SMALL)
    return clip if made else None


def _cut(title: str, note: str, subject: str) -> tuple[str, str, str]:
    """The words as they are kept; a subject that nobody can choose is none."""
    return title.strip()[:160], note.strip(), subject if subject in Clip.Subject else ""


def _sent_before(clip: Clip, spooled: spool.Spooled) -> Clip | None:
    """The newest clip of the same bytes, pupil and studio that another sending made."""
    place = clip.enrolment
    same = Clip.objects.filter(
        enrolment__pupil=place.pupil_id,
        enrolment__studio=place.studio_id,
        erased_at=None,
        original__sha256=spooled.sha256,
    )
    if clip.upload_key:
        same = same.exclude(enrolment=place, upload_key=clip.upload_key)
    return same.order_by("-created_at").first()


def _record(
    clip: Clip,
    spooled: spool.Spooled,
    filename: str,
    again: bool,
    check: Callable[[Clip, spool.Spooled], object],
    begun: Callable[[], object],
) -> Clip:
    """Keep the file, then write the rows; a clip that was sent before stays the only one.

    ``check`` comes before the rows, in their transaction, and may raise.
    """
    if clip.intake == Clip.Intake.REFUSED:
        return _save_once(clip, spooled, _nothing, lambda: None)
    stored = spool.keep(spooled, f"{spool.clip_folder(clip.id)}/original")

    def more() -> None:
        # Others who send for this pupil wait here, so that of two at once one is asked.
        list(Person.objects.select_for_update().filter(pk=clip.enrolment.pupil_id))
        if not again and (before := _sent_before(clip, spooled)):
            raise SentBefore(before)
        Original.objects.create(
            clip=clip,
            path=stored.path,
            sha256=stored.sha256,
            size_bytes=stored.size_bytes,
            filename=filename[-255:],
        )
        begun()

    try:
        saved = _save_once(clip, spooled, check, more)
    except BaseException:
        _remove_unless_named(stored.path)
        raise
    if saved is not clip:
        spool.remove(stored.path)
    return saved


def _remove_unless_named(path: str) -> None:
    """Remove a file that no row names: of a commit, the answer alone may have been lost.

    Where the database cannot be asked, the sweep for left-overs will.
    """
    with suppress(DatabaseError, InterfaceError):
        leases.reconnect_if_lost()
        if not Original.objects.filter(path=path).exists():
            spool.remove(path)


def _nothing(clip: Clip, spooled: spool.Spooled) -> None:
    pass


def _ask_quota(clip: Clip, spooled: spool.Spooled) -> None:
    """Of many who send at once, each waits here for those before it, and sees them."""
    quota.lock(clip.enrolment)
    same = Clip.objects.filter(enrolment=clip.enrolment, upload_key=clip.upload_key)
    if not (clip.upload_key and same.exists()):  # one that is there already is no further one
        quota.require(clip.enrolment, spooled.size_bytes)


def _save_once(
    clip: Clip,
    spooled: spool.Spooled,
    check: Callable[[Clip, spool.Spooled], object],
    more: Callable[[], None],
) -> Clip:
    """Save the clip and ``more`` in one transaction, or give the same one with the same key.

    A page that is gone back to still has its key: another recording in it gets a new one.
    """
    try:
        with transaction.atomic():
            check(clip, spooled)
            clip.save(force_insert=True)
            more()
    except IntegrityError:
        before = Clip.objects.filter(enrolment=clip.enrolment, upload_key=clip.upload_key).first()
        if before is None or not clip.upload_key:
            raise
        if _holds(before, clip, spooled):
            return before
        clip.upload_key = uuid4().hex
        return _save_once(clip, spooled, check, more)
    return clip


def _holds(before: Clip, clip: Clip, spooled: spool.Spooled) -> bool:
    """Whether a clip came of the same recording; of a refused one nothing is kept to tell by."""
    if before.erased_at is not None:
        return False
    if Clip.Intake.REFUSED in (before.intake, clip.intake):
        return before.intake == clip.intake
    return Original.objects.filter(clip=before, sha256=spooled.sha256).exists()
