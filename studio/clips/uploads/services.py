"""Beginning, writing, finishing and forgetting an upload: its row and its file together."""

import logging
import os
from collections.abc import Iterable
from datetime import timedelta
from uuid import uuid4

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from studio import media
from studio.accounts import consent
from studio.accounts.models import Enrolment, Person
from studio.clips import files, services, signals
from studio.clips.models import Clip, Upload

from . import access, partial, protocol

log = logging.getLogger(__name__)

# Long enough for the request that brought the last byte to make the clip itself.
FINISH_AFTER = timedelta(seconds=30)
ATTEMPTS = 5


class OffsetDiffers(Exception):
    """The chunk does not begin where the upload ends; nothing was changed."""

    def __init__(self, offset_bytes: int):
        super().__init__(f"the upload ends at {offset_bytes}")
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
    """A new upload, or the one that was begun with the same key.

    Raises
    ------
    signals.Unacceptable, KeyUsed, TooMany, OSError
        ``OSError`` when there is no room for it.
    """
    said = protocol.decoded(metadata)
    signals.announced.send(sender=Upload, enrolment=enrolment, said=said)
    upload = Upload(id=uuid4(), enrolment=enrolment, person=person, metadata=metadata)
    upload.length_bytes, upload.key = length_bytes, said.get("key", "")[:64] or upload.pk.hex
    if before := _begun_before(upload):
        return before
    if access.unfinished(person).count() >= settings.MAX_UNFINISHED_UPLOADS:
        raise TooMany
    partial.need_room(length_bytes)
    partial.create(upload.pk)
    try:
        with transaction.atomic():
            upload.save(force_insert=True)
    except IntegrityError:  # the same, at the same moment
        partial.remove(upload.pk)
        return _begun_before(upload) or begin(enrolment, person, length_bytes, metadata)
    return upload


def say_anew(upload: Upload, metadata: str) -> None:
    """Other words about the same recording, as long as it is on its way; the key stays."""
    said = protocol.decoded(metadata)
    signals.announced.send(sender=Upload, enrolment=upload.enrolment, said=said)
    Upload.objects.filter(pk=upload.pk, clip=None).update(metadata=metadata)


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

    None while another process is at it. The file goes only once the clip's rows are written.

    Raises
    ------
    media.Failed, OSError
        For a reason of ours: all is kept, and the sweep tries again.
    """
    try:
        with partial.locked(upload.pk):
            _reload(upload)
            if upload.clip_id is None:
                Upload.objects.filter(pk=upload.pk).update(attempts=F("attempts") + 1)
                upload.clip = _take_in(upload)
                Upload.objects.filter(pk=upload.pk).update(clip=upload.clip)
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
        clip=None,
        offset_bytes=F("length_bytes"),
        attempts__lt=ATTEMPTS,
        changed_at__lt=timezone.now() - FINISH_AFTER,
    )
    made = 0
    for upload in whole.select_related("enrolment__pupil", "enrolment__studio", "person"):
        try:
            consent.require_for_sending(upload.enrolment)
            made += finish(upload) is not None
        except consent.ConsentMissing:  # withdrawn since: nothing of it may stay
            forget(upload)
        except (media.Failed, OSError, Gone) as error:
            log.warning("upload %s could not become a clip: %s", upload.pk, error)
    return made


def forget_expired() -> int:
    """Remove uploads that nobody went on with for a day; says how many were unfinished."""
    expired = Upload.objects.filter(changed_at__lte=timezone.now() - Upload.LIFETIME)
    abandoned = 0
    for upload in expired:
        abandoned += upload.clip_id is None
        forget(upload)
    return abandoned


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


def _reload(upload: Upload) -> None:
    try:
        upload.refresh_from_db(fields=["offset_bytes", "metadata", "changed_at", "clip"])
    except Upload.DoesNotExist:
        raise Gone from None


def _publish(upload: Upload, at: int) -> None:
    """The row follows the file, never before it."""
    now = timezone.now()
    found = Upload.objects.filter(pk=upload.pk, offset_bytes=upload.offset_bytes)
    if not found.update(offset_bytes=at, changed_at=now):
        raise Gone
    upload.offset_bytes, upload.changed_at = at, now


def _take_in(upload: Upload) -> Clip:
    """A second name of the same file becomes the original; the first stays until all is written."""
    said = protocol.decoded(upload.metadata)
    second = files.bench_path()
    os.link(partial.path(upload.pk), second)
    place = upload.enrolment
    return services.take_in(
        place,
        upload.person,
        files.finished(second),
        said.get("filename", ""),
        title=said.get("title", ""),
        note=said.get("note", ""),
        upload_key=upload.key,
        also=lambda clip: signals.arrived.send(
            sender=Upload, clip=clip, said=said, enrolment=place
        ),
    )
