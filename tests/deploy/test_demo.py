"""The demo keeps to its own folder, finds a free port, and tells its logins at every start.

What the demo holds is tested with the parts it shows; here its making is already done.
"""

import os
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.deploy.processes import ROOT, running, started, until

LOGINS = "Log in with the password of-the-demo as\n  somebody@studio.example  Somebody\n"
START_S = 90


@pytest.fixture
def made(tmp_path: Path) -> Path:
    """The data folder of a demo that was made before."""
    folder = tmp_path / "demo"
    folder.mkdir()
    (folder / "logins.txt").write_text(LOGINS)
    return folder


@pytest.mark.worker
def test_second_start_tells_address_and_logins_on_the_next_free_port(tmp_path, made):
    log = tmp_path / "log"
    real = {"DATABASE_URL": "postgres://nobody@127.0.0.1:1/real", "ALLOWED_HOSTS": "studio.example"}
    with socket.create_server(("127.0.0.1", 0)) as other:
        taken = other.getsockname()[1]
        command = [sys.executable, "-m", "studio", "demo", "--data", str(made)]
        with started(command, log, PORT=str(taken), **real) as top:
            until(lambda: "is ready" in log.read_text() or not running([top]), START_S, "up")
            said = log.read_text()
            everything = top.children(recursive=True)
            top.terminate()
            assert top.wait(timeout=30) == 0
    port = int(re.search(r"ready: http://127\.0\.0\.1:(\d+)/", said)[1])
    assert taken < port <= taken + 50
    assert LOGINS.strip() in said
    assert (made / "studio.sqlite3").exists()
    until(lambda: not running(everything), 10, "nothing left")


def studio(folder: Path, *arguments: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "studio", *arguments],
        cwd=ROOT,
        env={**os.environ, "STUDIO_DATA": str(folder)},
        capture_output=True,
        text=True,
        timeout=120,
    )


def test_folder_of_another_studio_is_refused_and_left_alone(made):
    assert studio(made, "prepare", "--demo").returncode == 0
    (made / "logins.txt").unlink()
    add = (
        "from studio.accounts.models import Studio;"
        "Studio.objects.exists() or Studio.objects.create(name='A real one');"
        "print(Studio.objects.count(), 'studio')"
    )
    command = ("shell", "--verbosity", "0", "-c", add)
    assert "1 studio" in studio(made, *command).stdout
    refused = studio(made, "prepare", "--demo")
    assert refused.returncode == 2
    assert "holds a studio that is not the demo" in refused.stderr
    assert "1 studio" in studio(made, *command).stdout


def test_port_in_use_that_was_asked_for_is_refused(made):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = studio(made, "demo", "--data", str(made), "--port", str(port))
    assert done.returncode == 2
    assert f"Port {port} is in use by another program. Choose another" in done.stderr
