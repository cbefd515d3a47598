"""What the tables of rights answer."""

from studio.accounts.personal_data import Exported, Goes, Kept, Unlinked, fields, register

from .models import Copy, ErasureJob

register(
    ErasureJob,
    subjects=("asked_by",),
    export=Exported(fields("kind", "asked_at", "ended_at", "state")),
    erasure=Unlinked("That something was erased stays for a month; who asked is gone from it."),
    kept=Kept.ERASURE,
)
register(
    Copy,
    subjects=("asked_by", "about"),
    studio="studio",
    export=Exported(fields("asked_by", "about", "state", "created_at", "ready_at", "size_bytes")),
    erasure=Goes(),
    kept=Kept.COPY,
)
