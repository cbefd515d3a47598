"""What the tables of rights answer."""

from studio.accounts.personal_data import Exported, Kept, Unlinked, fields, register

from .models import ErasureJob

register(
    ErasureJob,
    subjects=("asked_by",),
    export=Exported(fields("kind", "asked_at", "ended_at", "state")),
    erasure=Unlinked("That something was erased stays for a month; who asked is gone from it."),
    kept=Kept.ERASURE,
)
