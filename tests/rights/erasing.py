"""What tests of erasures share: a clip with a stored copy, and a worker that has been at it."""

from studio.clips.models import Clip, Rendition
from studio.clips.storage import spool
from studio.clips.storage.stores import store
from studio.rights.erasure import dispatch, work
from studio.rights.models import ErasureJob


def with_file(clip: Clip, kind: str = "playable") -> str:
    """Give a clip a stored copy; its name."""
    name = f"{spool.clip_folder(clip.pk)}/{kind}.mp4"
    made = store().bench() / kind
    made.write_bytes(b"sound")
    store().put(made, name)
    said = {"path": name, "sha256": "abc", "size_bytes": 5}
    Rendition.objects.create(clip=clip, kind=kind, content_type="video/mp4", **said)
    return name


def worked(job: ErasureJob) -> ErasureJob:
    """The job, once a worker has been at it."""
    held = dispatch.claim(str(job.pk))
    assert held is not None
    work.erase(held)
    job.refresh_from_db()
    return job
