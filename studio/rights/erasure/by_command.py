"""What the commands of whoever runs the machine share: saying what goes, and doing it at once."""

from studio.jobs import runner

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
    runner.take(
        f"erasure {job.pk}",
        lambda: dispatch.claim(str(job.pk)),
        work.erase,
        lambda: dispatch.dispatch(job.pk),
    )
    job.refresh_from_db()
    done = job.state == ErasureJob.State.ERASED
    out.write("Erased." if done else "Gone for everybody; a worker takes it off the disk.")
