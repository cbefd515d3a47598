"""Beginning, writing, finishing and forgetting an upload: its row and its file together."""

import logging
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from uuid import uuid4

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.models import Enrolment, Person
from studio.clips import quota, services, signals
from studio.clips.models import Clip, Upload
from studio.clips.services import SentBefore
from studio.clips.storage import spool

from . import access, partial, protocol

log = logging.getLogger(__name__)

# Long enough for the request that brought the last byte to make the clip itself.
FINISH_AFTER = timedelta(seconds=30)
# After so many processes have died at the making of a clip, the recording is not looked at here.
LOOKS = 2


class OffsetDiffers(Exception):
    """The chunk does not begin where the upload ends; nothing was changed."""

    def __init__(self, offset_bytes: int):
        super().__init__(_("the upload ends at %(offset_bytes)s") % {"offset_bytes": offset_bytes})
        self.offset_bytes = offset_bytes


class BadChecksum(Exception):
    """The chunk is not what was sent; it was discarded."""


class TooMany(Exception):
    """The person has as many unfinished uploads as may be."""


class KeyUsed(Exception):
    """The key belongs to an upload of another length."""


class Gone(Exception):
    """The upload was ended in the meantime."""


def begin(enrolment: Enrolment, person: Person, length_bytes: int, metadata: str) -> Upload:
    """A new upload, or the one that was begun with the same key or of the same recording.

    The one that was begun is told the words; those that are not said now stay as they were.

    Raises
    ------
    signals.Unacceptable, KeyUsed, TooMany, quota.OverQuota, OSError
        ``OSError`` when there is no room for it.
    """
    said = protocol.decoded(metadata)
    signals.announced.send(sender=Upload, enrolment=enrolment, said=said)
    upload = Upload(id=uuid4(), enrolment=enrolment, person=person, metadata=metadata)
    upload.length_bytes, upload.key = length_bytes, said.get("key", "")[:64] or upload.pk.hex
    if before := _begun_before(upload) or _begun_of(upload, said.get("fingerprint", "")):
        say_anew(before, protocol.encoded(protocol.decoded(before.metadata) | _not_blank(said)))
        return before
    partial.need_room(length_bytes)
    partial.create(upload.pk)
    try:
        with transaction.atomic():
            quota.lock(enrolment)  # of many at once, each sees those before it
            if _is_full(person, enrolment):
                raise TooMany
            quota.require(enrolment, length_bytes)
            upload.save(force_insert=True)
    except IntegrityError:  # the same, at the same moment
        partial.remove(upload.pk)
        return _begun_before(upload) or begin(enrolment, person, length_bytes, metadata)
    except BaseException:
        partial.remove(upload.pk)
        raise
    return upload


def say_anew(upload: Upload, metadata: str) -> None:
    """Other words about the same recording, as long as it is on its way; the key stays."""
    said = protocol.decoded(metadata)
    signals.announced.send(sender=Upload, enrolment=upload.enrolment, said=said)
    if not Upload.objects.filter(pk=upload.pk, clip=None).update(metadata=metadata):
        _reload(upload)
        _tell_clip(upload, said)


def keep_whole(enrolment: Enrolment, person: Person, before: SentBefore, metadata: str) -> Upload:
    """An upload of a file that came all at once and was sent before, until the pupil has decided.

    Raises
    ------
    TooMany
        And then the file is not kept: the recording itself is there already.
    """
    spooled = before.spooled
    try:
        if spooled is None:
            raise TooMany
        upload = Upload(id=uuid4(), enrolment=enrolment, person=person, metadata=metadata)
        upload.key, upload.same_as = upload.pk.hex, before.clip
        upload.length_bytes = upload.offset_bytes = spooled.size_bytes
        with transaction.atomic():
            quota.lock(enrolment)
            if _is_full(person, enrolment):
                raise TooMany
            partial.adopt(upload.pk, spooled.path)
            upload.save(force_insert=True)
    finally:
        if spooled is not None:
            spooled.path.unlink(missing_ok=True)
    return upload


def send_again(upload: Upload) -> Clip | None:
    """The pupil wants a second clip of the same recording. As :func:`finish`."""
    Upload.objects.filter(pk=upload.pk, clip=None).update(again=True)
    upload.again = True
    return finish(upload)


def write(
    upload: Upload,
    offset_bytes: int,
    chunks: Iterable[bytes],
    checksum: protocol.Checksum | None = None,
) -> None:
    """Add a chunk. Without a checksum, what came before a break is kept.

    Raises
    ------
    OffsetDiffers, BadChecksum, Gone, partial.Busy, partial.Missing, OSError
        And what reading ``chunks`` raises. ``upload.offset_bytes`` is the durable offset then too.
    """
    with partial.locked(upload.pk) as handle:
        _reload(upload)
        if upload.offset_bytes != offset_bytes:
            raise OffsetDiffers(upload.offset_bytes)
        if checksum is None:
            partial.append(handle, offset_bytes, chunks, lambda at: _publish(upload, at))
            return
        end = partial.append_checked(
            handle, offset_bytes, chunks, checksum.hasher(), checksum.digest.__eq__
        )
        if end is None:
            raise BadChecksum
        _publish(upload, end)


def finish(upload: Upload) -> Clip | None:
    """Make a clip of an upload that is whole; the same one, however often this is called.

    None while another process is at it, and while the pupil is asked (``upload.asks``). The file
    goes only once the clip's rows are written.

    Raises
    ------
    OSError
        For a reason of ours: all is kept, and the sweep tries again.
    """
    try:
        with partial.locked(upload.pk):
            _reload(upload)
            if upload.clip_id is None and not upload.asks:
                with _counted(upload):
                    _make_clip(upload)
            if upload.clip_id is None:
                return None
    except partial.Busy:
        return None
    except partial.Missing:
        _reload(upload)
        return upload.clip
    partial.remove(upload.pk)
    return upload.clip


def forget(upload: Upload) -> None:
    """End an upload. Somebody who is still writing finds it gone."""
    Upload.objects.filter(pk=upload.pk).delete()
    partial.remove(upload.pk)


def finish_left() -> int:
    """Make clips of what was whole when its process died; says how many."""
    whole = Upload.objects.filter(
        Q(same_as=None) | Q(again=True),
        clip=None,
        offset_bytes=F("length_bytes"),
        changed_at__lt=timezone.now() - FINISH_AFTER,
    )
    made = 0
    for upload in whole.select_related("enrolment__pupil", "enrolment__studio", "person"):
        try:
            people.require_for_sending(upload.person, upload.enrolment)
            if _is_unlinked(upload):
                forget(upload)
                continue
            made += finish(upload) is not None
        except consent.ConsentMissing:  # withdrawn since: nothing of it may stay
            forget(upload)
        except (OSError, Gone) as error:
            log.warning("upload %s could not become a clip: %s", upload.pk, error)
    return made


def forget_expired() -> int:
    """Remove uploads that nobody went on with for a day; says how many were unfinished.

    One that is whole and could not become a clip is kept: that is not its sender's doing.
    """
    owed = Q(clip=None, offset_bytes=F("length_bytes")) & (Q(same_as=None) | Q(again=True))
    expired = Upload.objects.filter(changed_at__lte=timezone.now() - Upload.LIFETIME).exclude(owed)
    abandoned = 0
    for upload in expired:
        abandoned += upload.clip_id is None
        forget(upload)
    return abandoned


def forget_unfinished(place: Enrolment) -> int:
    """End what is on its way to a place, whosoever sends it; says how many there were."""
    unfinished = list(Upload.objects.filter(enrolment=place, clip=None))
    for upload in unfinished:
        forget(upload)
    return len(unfinished)


def _is_unlinked(upload: Upload) -> bool:
    """Whether a guardian sent it who no longer answers for the pupil."""
    by_guardian = upload.person_id != upload.enrolment.pupil_id
    return by_guardian and not people.sends_for(upload.person, upload.enrolment)


def _begun_before(upload: Upload) -> Upload | None:
    before = Upload.objects.filter(enrolment=upload.enrolment, key=upload.key).first()
    if before is None:
        return None
    lost = before.clip_id is None and not partial.holds(before.pk, before.offset_bytes)
    if lost or before.expires_at <= timezone.now():
        forget(before)
        return None
    if (before.person_id, before.length_bytes) != (upload.person_id, upload.length_bytes):
        raise KeyUsed
    return before


def _begun_of(upload: Upload, fingerprint: str) -> Upload | None:
    """What the person has half sent of the same recording, perhaps from another page."""
    if not fingerprint:
        return None
    halves = access.unfinished(upload.person, upload.enrolment)
    for half in halves.filter(length_bytes=upload.length_bytes):
        same = protocol.decoded(half.metadata).get("fingerprint") == fingerprint
        if same and partial.holds(half.pk, half.offset_bytes):
            return half
    return None


def _is_full(person: Person, place: Enrolment) -> bool:
    """Whether as much is half sent as may be; what is whole waits for us, not for the sender."""
    half = access.unfinished(person, place).exclude(
        Q(offset_bytes=F("length_bytes")) & (Q(same_as=None) | Q(again=True))
    )
    return half.count() >= settings.MAX_UNFINISHED_UPLOADS


def _not_blank(said: dict[str, str]) -> dict[str, str]:
    return {name: text for name, text in said.items() if text and name != "key"}


def _reload(upload: Upload) -> None:
    fields = ["offset_bytes", "metadata", "changed_at", "clip", "same_as", "again"]
    try:
        upload.refresh_from_db(fields=fields)
    except Upload.DoesNotExist:
        raise Gone from None


def _publish(upload: Upload, at: int) -> None:
    """The row follows the file, never before it."""
    now = timezone.now()
    found = Upload.objects.filter(pk=upload.pk, offset_bytes=upload.offset_bytes)
    if not found.update(offset_bytes=at, changed_at=now):
        raise Gone
    upload.offset_bytes, upload.changed_at = at, now


def _make_clip(upload: Upload) -> None:
    """The upload's clip, with the words as they are by then; or the question about the same."""
    try:
        upload.clip = _take_in(upload)
    except SentBefore as before:
        upload.same_as = before.clip
        Upload.objects.filter(pk=upload.pk).update(same_as=before.clip)
        return
    said = upload.metadata
    Upload.objects.filter(pk=upload.pk).update(clip=upload.clip)
    _reload(upload)
    if upload.metadata != said:  # typed while the clip was made
        _tell_clip(upload, protocol.decoded(upload.metadata))


def _tell_clip(upload: Upload, said: dict[str, str]) -> None:
    if upload.clip is not None:
        signals.said_anew.send(
            sender=Upload, clip=upload.clip, said=said, enrolment=upload.enrolment
        )


@contextmanager
def _counted(upload: Upload) -> Iterator[None]:
    """Count a beginning that never comes to an end: the process died at it."""
    rows = Upload.objects.filter(pk=upload.pk)
    rows.update(attempts=F("attempts") + 1)
    upload.refresh_from_db(fields=["attempts"])
    try:
        yield
    finally:
        rows.update(attempts=F("attempts") - 1)


def _take_in(upload: Upload) -> Clip:
    """A second name of the same file becomes the original; the first stays until all is written."""
    said = protocol.decoded(upload.metadata)
    second = spool.bench_path()
    os.link(partial.path(upload.pk), second)
    place = upload.enrolment
    try:
        return services.take_in(
            place,
            upload.person,
            spool.finished(second),
            said.get("filename", ""),
            title=said.get("title", ""),
            note=said.get("note", ""),
            subject=said.get("subject", ""),
            upload_key=upload.key,
            again=upload.again,
            unseen=upload.attempts > LOOKS,
            also=lambda clip: signals.arrived.send(
                sender=Upload, clip=clip, said=said, enrolment=place
            ),
        )
    finally:
        second.unlink(missing_ok=True)
