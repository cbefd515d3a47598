"""``python -m studio``: help a newcomer can use, and refusals in a sentence."""

import os
import socket
import subprocess
import sys

import pytest

from tests.deploy.processes import ROOT


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "studio", *arguments],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_help_names_every_command():
    done = run("--help")
    assert done.returncode == 0
    for command in ("demo", "serve", "analyse", "prepare", "migrate"):
        assert command in done.stdout


def test_no_command_is_wrong_use_and_shows_the_help():
    done = run()
    assert done.returncode == 2
    assert "usage: python -m studio COMMAND" in done.stderr


@pytest.mark.parametrize(
    ("command", "says"),
    [
        ("serve", "Ctrl-C or TERM stops all of it"),
        ("demo", "Prints the address and the logins"),
        ("prepare", "bring the database up to date"),
        ("analyse", "--tolerance"),
    ],
)
def test_each_command_explains_itself(command, says):
    done = run(command, "--help")
    assert done.returncode == 0, done.stderr
    assert f"python -m studio {command}" in done.stdout
    assert says in done.stdout


def test_help_needs_no_data_folder(tmp_path):
    folder = tmp_path / "data"
    for arguments in (("--help",), ("serve", "--help"), ("demo", "--help")):
        assert run(*arguments, STUDIO_DATA=str(folder)).returncode == 0
    assert not folder.exists()


def test_unknown_option_is_wrong_use():
    done = run("serve", "--prot", "1")
    assert done.returncode == 2
    assert "unrecognized arguments: --prot 1" in done.stderr


def test_port_that_is_none_is_refused():
    done = run("demo", "--port", "70000")
    assert done.returncode == 2
    assert "'70000' is no port; give a whole number from 1 to 65535" in done.stderr


def test_port_in_use_is_said_before_anything_starts(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = run("serve", STUDIO_DATA=str(tmp_path), PORT=str(port))
    assert done.returncode == 2
    assert f"Port {port} on 127.0.0.1 is in use by another program" in done.stderr
    assert not (tmp_path / "studio.sqlite3").exists()


def test_address_that_is_none_of_ours_is_refused(tmp_path):
    # 192.0.2.0/24 is set aside for documentation (RFC 5737): no machine has it.
    done = run("serve", STUDIO_DATA=str(tmp_path), ADDRESS="192.0.2.1")
    assert done.returncode == 2
    assert "ADDRESS is '192.0.2.1', which is no address of this machine" in done.stderr


def test_djangos_own_commands_work():
    done = run("check")
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stderr + done.stdout


def test_each_process_works_on_one_thread_unless_told_otherwise(monkeypatch, capsys):
    from studio import __main__ as command

    for name in command.ONE_THREAD:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NUMBA_NUM_THREADS", "3")
    assert command.main(["--help"]) == 0
    assert os.environ["OMP_NUM_THREADS"] == os.environ["OPENBLAS_NUM_THREADS"] == "1"
    assert os.environ["NUMBA_NUM_THREADS"] == "3"
