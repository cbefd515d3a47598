"""``serve`` and ``demo``: the web, worker and periodic processes under one supervisor."""

import errno
import fcntl
import io
import os
import socket
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

from studio import figures, log_lines
from studio.processes import die_with_parent
from studio.supervisor import Child, Supervisor

PORTS_TRIED = 50
DATABASE_WAIT_S = 60.0
DATABASE_PAUSE_S = 1.0
LOGINS = "logins.txt"  # in the demo's data folder: what to print at every start
# What the shell may have set for the real studio, which the demo must not touch.
REAL_STUDIO = (
    *("DATABASE_URL", "BROKER_URL", "OBJECT_STORE", "SECRET_KEY"),
    *("HTTPS", "PROXY", "ALLOWED_HOSTS", "MEDIA_BY_NGINX"),
    *("BACKUP_FOLDER", "BACKUP_RECIPIENT", "BACKUP_IDENTITY", "EMAIL_URL", "OPERATOR_EMAIL"),
)
# One thread each: two workers on two cores must not start four threads apiece.
ONE_THREAD = {
    f"{library}_NUM_THREADS": "1" for library in ("OMP", "OPENBLAS", "MKL", "NUMBA", "BLIS")
}


class CannotServe(Exception):
    """Why the studio cannot start, in a sentence."""


def serve() -> int:
    """Bring the data folder up to date and keep the studio running until told to stop."""
    from studio import settings

    lock = _only_one(settings.STUDIO_DATA)
    if not _free(settings.ADDRESS, settings.PORT):
        raise CannotServe(
            f"Port {settings.PORT} on {settings.ADDRESS} is in use by another program. Stop it, "
            f"or choose another port: PORT={settings.PORT + 1} python -m studio serve"
        )
    _prepare()
    with closing(lock):
        return _supervise(f"The studio is ready: {_address(settings)}\nCtrl-C stops it.")


def demo(data: Path, port: int | None) -> int:
    """Serve an invented studio from a data folder of its own, on the next free port."""
    os.environ.update(STUDIO_DATA=str(data.absolute()), ADDRESS="127.0.0.1")
    for name in REAL_STUDIO:
        os.environ.pop(name, None)
    os.environ["PORT"] = str(_demo_port(port))
    from studio import settings

    with closing(_only_one(settings.STUDIO_DATA)):
        _prepare("--demo")
        logins = (settings.STUDIO_DATA / LOGINS).read_text()
        ready = f"The demo studio is ready: {_address(settings)}"
        return _supervise(f"{ready}\n\n{logins.strip()}\n\nCtrl-C stops it.")


def prepare(with_demo: bool) -> int:
    """Check the settings, migrate the database, collect the static files, load the demo."""
    import django
    from django.core.management import call_command

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    django.setup()
    from studio import collecting, releases, running

    try:
        _wait_for_database()
        releases.refuse_newer_database()
        with running.entered("prepare"):
            _put_permissions_right()
            _tell_of_queue()
            call_command("check")
            call_command("migrate", interactive=False, verbosity=0)
            collecting.collect()
            if with_demo:
                _load_demo()
    except (releases.NewerDatabase, running.Restoring) as error:
        raise CannotServe(f"{error}.") from None
    return 0


def _put_permissions_right() -> None:
    """What an older version, or another umask, left open to others."""
    from django.conf import settings
    from django.db import connection

    from studio import permissions

    sqlite = connection.vendor == "sqlite"
    database = Path(settings.DATABASES["default"]["NAME"]) if sqlite else None
    if found := permissions.put_right(settings.STUDIO_DATA, database, settings.MEDIA_BY_NGINX):
        print(f"studio: the permissions of {found} files and folders were put right.")


def _wait_for_database() -> None:
    """At a machine's start the database may come later than the studio; a wrong password stays.

    One paragraph says what is wrong, and what to do.
    """
    from studio.operations import bounded, explaining, parts

    until, told = time.monotonic() + DATABASE_WAIT_S, False
    while True:
        try:
            bounded.within(parts.try_database)
            return
        except Exception as error:
            why, passes = " ".join(explaining.of_database(error)), explaining.may_pass(error)
        if not passes:
            raise CannotServe(why)
        if time.monotonic() > until:
            waited = f"It was waited for {figures.number(DATABASE_WAIT_S)} seconds."
            raise CannotServe(f"{why} {waited}")
        if not told:
            print("studio: waiting for the database.", file=sys.stderr, flush=True)
            told = True
        time.sleep(DATABASE_PAUSE_S)


def _tell_of_queue() -> None:
    """The studio starts without its queue, too: what is sent meanwhile is kept, and waits."""
    from studio.operations import bounded, explaining, parts

    try:
        bounded.within(parts.try_queue)
    except Exception as error:
        wrong, then = explaining.of_queue(error)
        until = "Until then clips are taken in and wait to be listened to."
        print(f"studio: {wrong} {then} {until}", file=sys.stderr, flush=True)


def _load_demo() -> None:
    """Load the invented studio once; keep what is said about its logins for the next start."""
    from django.conf import settings
    from django.core.management import call_command

    from studio.accounts.models import Studio

    logins = settings.STUDIO_DATA / LOGINS
    if logins.exists():
        return
    if Studio.objects.exists():
        raise CannotServe(
            f"{settings.STUDIO_DATA} holds a studio that is not the demo, or a demo whose making "
            "was cut off. Choose another folder with --data, or remove this one if nothing in it "
            "is needed."
        )
    said = io.StringIO()
    call_command("load_demo", stdout=said)
    logins.write_text(said.getvalue())


def children() -> list[Child]:
    """Web, two workers, the one that sends the periodic tasks, and the one that makes backups.

    Listening has a worker of its own, so that no picture makes a teacher wait for the marks.
    Whichever worker is free sweeps.
    """
    python = (sys.executable, "-m")
    celery = (*python, "celery", "--quiet", "-A", "studio.celery")
    worker = (
        *celery,
        "worker",
        "--concurrency=1",
        "--without-gossip",
        "--without-mingle",
        "--without-heartbeat",
    )
    return [
        Child("web", (*python, "gunicorn", "-c", "python:studio.gunicorn_settings")),
        Child("listening", (*worker, "-n", "listening@%h", "-Q", "listening,sweep"), ONE_THREAD, 5),
        Child("pictures", (*worker, "-n", "pictures@%h", "-Q", "pictures,sweep"), ONE_THREAD, 10),
        Child("periodic", (*celery, "beat", "--pidfile=")),
        Child("upkeep", (*python, "studio", "upkeep"), {}, 15),
    ]


def _supervise(ready_message: str) -> int:
    from studio import settings

    os.environ["STUDIO_DATA"] = str(settings.STUDIO_DATA)
    supervisor = Supervisor(
        children(),
        say=lambda sentence: log_lines.say(sentence, settings.LOG_FORMAT == "json"),
        ready=lambda: _answers(settings.ADDRESS, settings.PORT),
        announce=lambda: print(f"\n{ready_message}\n", flush=True),
    )
    return supervisor.run()


def _prepare(*options: str) -> None:
    """In a process of its own, so that the supervisor stays small and has one thread."""
    parent = os.getpid()
    done = subprocess.run(
        [sys.executable, "-m", "studio", "prepare", *options],
        env={**os.environ, **ONE_THREAD},
        preexec_fn=lambda: die_with_parent(parent),
    )
    if done.returncode != 0:
        raise CannotServe("The studio was not started: the lines above say what to mend.")


def _only_one(data: Path):
    """A lock that this process holds while it serves from the data folder."""
    file = (data / "serving.lock").open("a+")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        raise CannotServe(
            f"A studio is already being served from {data}. Stop it first, or set STUDIO_DATA to "
            "another folder."
        ) from None
    return file


def _demo_port(port: int | None) -> int:
    """The port asked for; else PORT or 8000, or the next free one after it."""
    if port is not None:
        if not _free("127.0.0.1", port):
            raise CannotServe(
                f"Port {port} is in use by another program. Choose another: --port {port + 1}"
            )
        return port
    from studio import environment

    first = environment.whole("PORT", 8000, low=1, high=65535)
    for candidate in range(first, min(first + PORTS_TRIED, 65536)):
        if _free("127.0.0.1", candidate):
            return candidate
    raise CannotServe(
        f"No port from {first} on is free. Choose one with --port, for example --port 18000."
    )


def _family(address: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in address else socket.AF_INET


def _free(address: str, port: int) -> bool:
    """Whether this process may listen there, and no other does."""
    with socket.socket(_family(address), socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except PermissionError:
            raise CannotServe(
                f"Port {port} may not be used without root. Choose one from 1024 on: PORT=8000"
            ) from None
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                return False
            raise CannotServe(
                f"ADDRESS is {address!r}, which is no address of this machine. "
                "Set ADDRESS=127.0.0.1."
            ) from None
    return True


def _answers(address: str, port: int) -> bool:
    """Whether the web process accepts connections."""
    target = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(address, address)
    try:
        socket.create_connection((target, port), timeout=0.2).close()
    except OSError:
        return False
    return True


def _address(settings) -> str:
    host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(settings.ADDRESS, settings.ADDRESS)
    return f"http://[{host}]:{settings.PORT}/" if ":" in host else f"http://{host}:{settings.PORT}/"
