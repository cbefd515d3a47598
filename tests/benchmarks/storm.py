"""A storm of kills: clips keep coming while what works on them is killed, again and again.

Pool processes, whole workers, decoders, probers, web, the periodic process, the supervisor with all
that it started, the queue (Redis itself on production ground, its messages on the embedded) and the
database (on production ground) are killed at random, seeded moments, two for each clip. At the
end every clip must be heard and playable, once, with nothing half made left; none may have been
refused or have failed. How long it took from a kill until what it had cut off was published is
the figure to watch: a killed worker's lease runs for 40 seconds, and a sweep comes every 15.
What was killed alone three times is parked, and tried again once as an operator would: counted.

    deploy/measure storm [--quick] [--clips N] [--seed N] [--ground embedded|production]

prints the figures, and as the last line the same as one JSON object. It ends with 1 when one of
them is not as it must be.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
GROUNDS = ("embedded", "production")
SEED = 20_261_125
RECOVERY_P95_S = 75.0
EVERY_S = 7.0  # between two clips: what two workers on two cores, and the storm, leave time for
KILLS_A_CLIP = 2
AWAY_S = 3.0  # how long a killed server is away
MUST_BE_NOTHING = (
    *("lost", "doubled", "refused", "failed", "parked", "heard_wrong", "unplayable"),
    *("files_wrong", "files_without_a_row", "half_made_files", "processes_left"),
)


def storm(
    clips: int = 100,
    seed: int = SEED,
    ground: str = "production",
    *,
    every_s: float = EVERY_S,
    kills: int | None = None,
    hurry: bool = False,
) -> dict:
    """Let a storm rage on a studio of its own, in a process of its own; returns the figures.

    ``as_expected`` says whether nothing was lost, doubled, half made or left running, and what was
    cut off came back within 75 s in 95 of 100 cases. ``hurry`` moves the lease of what a kill
    cut off back by the time that it would take to run out; everything else is real.
    """
    command = [sys.executable, "-m", "tests.benchmarks.storm", "--clips", str(clips)]
    command += ["--seed", str(seed), "--ground", ground, "--every", str(every_s)]
    command += ["--hurry"] if hurry else []
    command += ["--kills", str(kills)] if kills is not None else []
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
    if not done.stdout.strip():
        raise RuntimeError(f"the storm ended with {done.returncode}; its log is above")
    return json.loads(done.stdout.splitlines()[-1])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--clips", type=int, default=100)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--ground", choices=GROUNDS, default="production")
    parser.add_argument("--every", type=float, default=EVERY_S, help="seconds between clips")
    parser.add_argument("--kills", type=int, help="how many; two for each clip unless said")
    parser.add_argument("--hurry", action="store_true", help="do not wait for leases to run out")
    parser.add_argument("--quick", action="store_true", help="a dozen clips, in a hurry")
    chosen = parser.parse_args()
    if chosen.quick:
        chosen.clips, chosen.hurry = 12, True
    with tempfile.TemporaryDirectory(prefix="studio-storm-") as name:
        figures = _rage(Path(name), chosen)
        if not figures["as_expected"]:
            print((Path(name) / "studio.log").read_text(), file=sys.stderr)
    for key, value in figures.items():
        print(f"{key:<24} {value}")
    print(json.dumps(figures))
    return 0 if figures["as_expected"] else 1


def _rage(folder: Path, chosen: argparse.Namespace) -> dict:
    kills = KILLS_A_CLIP * chosen.clips if chosen.kills is None else chosen.kills
    with _on(chosen.ground, folder) as (variables, break_servers):
        from tests.faults.storming import storm_on  # needs the settings of that ground

        size = (chosen.clips, chosen.seed, chosen.every, kills)
        figures = storm_on(folder, *size, break_servers, chosen.hurry, **variables)
    slow = figures["recovery_s"].get("p95", 0.0) > RECOVERY_P95_S
    fine = not slow and not any(figures[name] for name in MUST_BE_NOTHING)
    return {"ground": chosen.ground, **figures, "load_1_min": os.getloadavg()[0]} | {
        "as_expected": fine
    }


@contextmanager
def _on(
    ground: str, folder: Path
) -> Iterator[tuple[dict[str, str], dict[str, Callable[[], None]]]]:
    """Settings for that ground, in this process too, and how each of its servers is broken."""
    data = folder / "data"
    if ground == "embedded":
        _set_up(STUDIO_DATA=str(data), DATABASE_URL="", BROKER_URL="")
        yield {"BROKER_URL": ""}, {"queue": lambda: _lose_messages(data / "queue")}
        return
    from tests.servers import Postgres, Redis

    postgres, redis = Postgres(), Redis()
    try:
        postgres.start()
        redis.start()
        places = {"DATABASE_URL": postgres.create("storm"), "BROKER_URL": redis.url}
        _set_up(STUDIO_DATA=str(data), **places)
        yield places, {"queue": lambda: _kill(redis), "database": lambda: _kill(postgres)}
    finally:
        from django.db import connections

        connections.close_all()
        redis.remove()
        postgres.remove()


def _set_up(**variables: str) -> None:
    import django

    from studio.serving import REAL_STUDIO

    for name in REAL_STUDIO:  # what the shell may have set for a real one
        os.environ.pop(name, None)
    os.environ.update(variables, DJANGO_SETTINGS_MODULE="studio.settings")
    django.setup()


def _lose_messages(queue: Path) -> None:
    """What a flushed queue loses: every message that nobody has read."""
    for message in queue.glob("*.msg"):
        message.unlink(missing_ok=True)


def _kill(server) -> None:
    """Kill it, leave it away for three seconds, start it with what it had kept."""
    server.kill()
    time.sleep(AWAY_S)
    server.start()


if __name__ == "__main__":
    sys.exit(main())
