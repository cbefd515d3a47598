"""What the commands of whoever runs the machine share: saying what goes, and doing it at once."""

from . import dispatch, work
from .models import ErasureJob
from .words import Said


def tell(out, what: str, said: Said) -> None:
    """Print what would go, when, and what would stay."""
    out.write(f"{what}. It goes:")
    for line in said.going:
        out.write(f"  - {line}")
    for line in (said.at_once, said.on_disk, said.in_backups):
        out.write(line)
    out.write("It stays:")
    for line in said.staying:
        out.write(f"  - {line}")
    out.write("Add --yes to erase it; it cannot be brought back.")


def do(out, job: ErasureJob) -> None:
    """Do it in this process, unless a worker has it already."""
    held = dispatch.claim(str(job.pk))
    if held is not None:
        work.erase(held)
        out.write("Erased.")
    else:
        out.write("Gone for everybody; a worker is taking it off the disk.")
