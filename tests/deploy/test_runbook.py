"""The runbook as somebody reads it who only copies: its own lines, in a sandbox, in their order.

PostgreSQL, Redis, nginx's check and the studio are real. What would change this machine is not: the
service manager, the packages and users of the system, the authority. Those are written down.
"""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.deploy.processes import ROOT, free_port
from tests.servers import NGINX_AROUND, Postgres, Redis, program

README = (ROOT / "deploy" / "README.md").read_text()
FOLDERS = (
    *("/usr/local/lib/studio", "/usr/local/bin/studio", "/usr/local/lib/systemd/system"),
    *("/srv/studio", "/etc/studio", "/etc/ssl/studio", "/etc/nginx", "/var/www/studio"),
    *("/var/backups/studio", "/var/log/nginx"),
)
NOTED = 'echo "$(basename "$0") $*" >>{noted}'


def blocks(heading: str) -> list[str]:
    """The commands below a heading, in the order in which they are copied."""
    part = README.partition(f"\n### {heading}\n")[2].partition("\n### ")[0]
    found = re.findall(r"(?:^    .*\n|^\n(?=    ))+", part, re.MULTILINE)
    return [re.sub(r"^    ", "", block, flags=re.MULTILINE).strip() for block in found]


class Sandbox:
    """A machine of its own in a folder, as far as the runbook's lines can tell."""

    def __init__(self, folder: Path, postgres: Postgres, redis_server: Redis) -> None:
        self.folder, self.postgres, self.redis = folder, postgres, redis_server
        self.noted = folder / "noted"
        self.noted.touch()
        self.bin = folder / "bin"
        self.bin.mkdir()
        for part in (
            "etc/nginx/sites-enabled",
            "var/log/nginx",
            "usr/local/bin",
            "usr/local/lib",
            "srv",
        ):
            (folder / part).mkdir(parents=True)
        (folder / "etc/nginx/nginx.conf").write_text("events { worker_connections 768; }\n")
        self._commands()

    def _commands(self) -> None:
        noted = NOTED.format(noted=self.noted)
        for name in ("apt-get", "adduser", "systemctl", "certbot"):
            self._command(name, noted)
        as_postgres = (
            f"export PGHOST=127.0.0.1 PGPORT={self.postgres.port} PGUSER={self.postgres.user} "
            f"PGPASSWORD='{self.postgres.password}' PGDATABASE=${{PGDATABASE:-postgres}}"
        )
        self._command("runuser", f'[ "$2" = postgres ] && {as_postgres}\nshift 3; exec "$@"')
        redis_cli = shutil.which("redis-cli")
        rewrite = '[ "$2" = REWRITE ] && exit 0'  # the server of the tests has no file to write to
        self._command("redis-cli", f'{rewrite}\nexec {redis_cli} -p {self.redis.port} "$@"')
        around = self.folder / "around.conf"
        around.write_text(
            NGINX_AROUND.replace("site.conf", f"{self.folder}/etc/nginx/sites-enabled/*")
        )
        nginx = f'exec {program("nginx")} -p {self.folder} -e stderr -c {around} "$@"'
        self._command("nginx", nginx)
        owners = 'case $1 in -o|-g) shift 2;; *) kept+=("$1"); shift;; esac'
        real = shutil.which("install")
        self._command(
            "install", f'kept=()\nwhile [ $# -gt 0 ]; do {owners}; done\nexec {real} "${{kept[@]}}"'
        )
        venv = (
            'mkdir -p "$3/bin"; printf \'#!/bin/bash\\n[ "$2" = pip ] && exit 0\\n'
            f'exec {sys.executable} "$@"\\n\' >"$3/bin/python"; chmod +x "$3/bin/python"'
        )
        self._command("venv-python3", venv)

    def _command(self, name: str, script: str) -> None:
        path = self.bin / name
        path.write_text(f"#!/bin/bash\n{script}\n")
        path.chmod(0o755)

    def here(self, text: str) -> str:
        """The same lines for this sandbox: its folders, its ports, its own role."""
        for folder in FOLDERS:
            text = text.replace(folder, f"{self.folder}{folder}")
        for deployed, here in {
            "/usr/bin/python3 -m venv": f"{self.bin}/venv-python3 -m venv",
            "git clone REPOSITORY": f"cp -r {self.folder}/repository",
            "127.0.0.1:5432": f"127.0.0.1:{self.postgres.port}",
            "127.0.0.1:6379": f"127.0.0.1:{self.redis.port}",
            "ROLE studio": "ROLE runbook",
            "postgres://studio:": "postgres://runbook:",
            "--owner=studio": "--owner=runbook",
            "TO studio": "TO runbook",
        }.items():
            text = text.replace(deployed, here)
        return text

    def run(self, lines: str) -> str:
        """Run lines in one shell, as they are copied into it; what they say."""
        environment = {
            "PATH": f"{self.bin}:{self.folder}/usr/local/bin:{os.environ['PATH']}:/usr/sbin",
            "HOME": str(self.folder),
            "LC_ALL": "C.UTF-8",
            "STUDIO_PROGRAM": f"{self.folder}/usr/local/lib/studio",
            "STUDIO_ENVIRONMENT": f"{self.folder}/etc/studio/environment",
            "STUDIO_UNITS": f"{self.folder}/usr/local/lib/systemd/system",
            "STUDIO_COMMAND": f"{self.folder}/usr/local/bin/studio",
        }
        done = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", self.here(lines)],
            cwd=self.folder,
            env=environment,
            capture_output=True,
            text=True,
            timeout=300,
        )
        assert done.returncode == 0, f"{lines}\n{done.stdout}\n{done.stderr}"
        return done.stdout + done.stderr


@pytest.fixture
def sandbox(tmp_path, postgres, redis_server) -> Iterator[Sandbox]:
    place = Sandbox(tmp_path, postgres, redis_server)
    repository = tmp_path / "repository"
    ignored = shutil.ignore_patterns("__pycache__", "pictures")
    for part in ("studio", "deploy"):
        shutil.copytree(ROOT / part, repository / part, ignore=ignored)
    site = repository / "deploy" / "nginx.conf"  # whose folders and ports lie outside the sandbox
    text = re.sub(r"\n *listen \[::\].*", "", place.here(site.read_text()))
    for port in ("80", "443"):
        text = text.replace(f"listen {port}", f"listen 127.0.0.1:{free_port()}")
    site.write_text(text)
    try:
        yield place
    finally:
        with postgres.connect("postgres") as server:
            server.execute("DROP DATABASE IF EXISTS studio WITH (FORCE)")
            server.execute("DROP ROLE IF EXISTS runbook")


def git(folder: Path, *arguments: str) -> None:
    who = ["-c", "user.name=Somebody", "-c", "user.email=somebody@studio.example"]
    subprocess.run(["git", "-C", folder, *who, *arguments], check=True, capture_output=True)


def next_version(sandbox: Sandbox) -> None:
    """The repository with this version and one after it; this one is installed."""
    repository = sandbox.folder / "repository"
    git(repository, "init", "--quiet", "--initial-branch=main")
    git(repository, "add", "--all")
    git(repository, "commit", "--quiet", "--message=first")
    git(repository, "tag", "v0.1.0")
    program_folder = sandbox.folder / "usr/local/lib/studio"
    shutil.copytree(repository / ".git", program_folder / ".git")
    git(program_folder, "remote", "add", "origin", str(repository))
    (repository / "studio" / "__init__.py").write_text('"""The same."""\n\n__version__ = "0.2.0"\n')
    (repository / "deploy" / "systemd" / "studio-new.service").write_text("[Unit]\n")
    git(repository, "add", "--all")
    git(repository, "commit", "--quiet", "--message=second")
    git(repository, "tag", "v0.2.0")


def test_who_copies_the_runbook_has_a_studio_backs_it_up_and_upgrades_it(sandbox):
    every_day = [block for block in blocks("Install") if "ADDRESS" not in block]  # of one's own
    said = sandbox.run("\n".join(every_day))
    assert "/invitation/" in said, "the link with which the first teacher comes in"
    noted = sandbox.noted.read_text()
    assert "systemctl enable --now studio.target" in noted
    assert "certbot certonly --webroot --webroot-path" in noted
    units = sandbox.folder / "usr/local/lib/systemd/system"
    assert {path.name for path in units.iterdir()} == {
        path.name for path in (ROOT / "deploy" / "systemd").iterdir()
    }
    environment = sandbox.folder / "etc/studio/environment"
    assert environment.stat().st_mode & 0o007 == 0

    sandbox.run(next(block for block in blocks("Back up, and restore") if "amcheck" in block))
    assert "Backed up the database and 0 files" in sandbox.run("studio backup")
    assert "The newest backup can be restored." in sandbox.run("studio drill")
    said = sandbox.run("studio verify")
    assert "The database is whole" in said
    assert "amcheck" not in said, "it is there"
    sandbox.noted.write_text("")
    said = sandbox.run("studio replace /var/backups/studio")
    assert "Restored the backup of" in said
    assert sandbox.noted.read_text().splitlines() == [
        "systemctl stop studio.target",
        "systemctl start studio.target",
    ]

    next_version(sandbox)
    sandbox.noted.write_text("")
    said = sandbox.run("studio upgrade")
    assert "Now studio 0.2.0" in said
    assert "before, v0.1.0" in said
    assert "Backed up the database" in said
    assert sandbox.noted.read_text().splitlines() == [
        "systemctl stop studio.target",
        "systemctl daemon-reload",
        "systemctl start studio.target",
    ]
    assert (units / "studio-new.service").exists()
    assert "This is v0.2.0 already." in sandbox.run("studio upgrade")


def test_settings_with_signs_that_a_shell_acts_on_arrive_as_they_are(tmp_path):
    environment = tmp_path / "environment"
    environment.write_text(
        "# a remark\n\nEMAIL_URL=smtp://a:p$x@h:25?tls=0&x=1\nMAIL_FROM='s@s.example'\nEMPTY=\n"
    )
    python = tmp_path / ".venv" / "bin" / "python"
    python.parent.mkdir(parents=True)
    python.write_text('#!/bin/sh\necho "$EMAIL_URL $MAIL_FROM [$EMPTY] $*"\n')
    python.chmod(0o755)
    done = subprocess.run(
        [ROOT / "deploy" / "studio", "verify", "a b"],
        env={
            "PATH": os.environ["PATH"],
            "STUDIO_PROGRAM": str(tmp_path),
            "STUDIO_ENVIRONMENT": str(environment),
            "STUDIO_AS_ROOT": "1",
        },
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert done.stdout.strip() == (
        "smtp://a:p$x@h:25?tls=0&x=1 s@s.example [] -m studio verify a b"
    ), done.stderr
