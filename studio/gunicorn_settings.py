"""Settings of the web process, for ``gunicorn -c python:studio.gunicorn_settings``."""

import gc
import os
import sys
from pathlib import Path

from gunicorn.arbiter import Arbiter

from studio import settings
from studio.operations import metrics_folder
from studio.processes import die_with_parent

wsgi_app = "studio.wsgi:application"
_host = f"[{settings.ADDRESS}]" if ":" in settings.ADDRESS else settings.ADDRESS
bind = f"{_host}:{settings.PORT}"
worker_class = "studio.web.worker.LoopWorker"
workers = settings.WEB_PROCESSES
threads = settings.WEB_THREADS
preload_app = True  # what the processes have in common is loaded once
timeout = 60  # a process that shows no life for so long is replaced; a long upload shows life
graceful_timeout = 20
# Longer than the 60 s after which nginx lets an idle connection go, so that it never sends a form
# into one that is just being closed. An idle line costs no thread.
keepalive = 75
worker_connections = 1000
sendfile = False  # the worker sends what a line takes, and waits for no reader
control_socket_disable = True
logger_class = "studio.web.server_log.ServerLog"
loglevel = settings.LOG_LEVEL.lower()
# The heartbeat file must not wait for a busy disk.
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None

metrics_folder.prepare(settings.STUDIO_DATA, settings.PORT)  # before the program is loaded
_master = os.getpid()


def on_starting(server) -> None:
    """gunicorn calls this in the master, before there is any other process."""
    from studio.starting import may_begin  # not before the settings are loaded
    from studio.web.warming import warm

    may_begin("web")
    warm()


def post_fork(server, worker) -> None:
    """gunicorn calls this in each new process: it must not outlive its master."""
    die_with_parent(_master)
    _begin()
    # A long clip's page makes a hundred thousand objects, and none of them in circles: with the
    # usual threshold, looking through all there is again and again took a third of its time.
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


def _begin() -> None:
    """Join the studio's processes; where that is refused, the master ends instead of trying on."""
    from studio.starting import begin  # not before the settings are loaded

    try:
        begin("web")
    except SystemExit as refused:
        print(refused, file=sys.stderr, flush=True)
        sys.exit(Arbiter.WORKER_BOOT_ERROR)


def child_exit(server, worker) -> None:
    """gunicorn calls this in the master, when a process has ended, however it did."""
    from studio.web.sharing import SHARES

    SHARES.ended(worker.age)


def on_exit(server) -> None:
    metrics_folder.remove()
