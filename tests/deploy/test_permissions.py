"""What the studio keeps is its own user's alone, whatever the shell's umask and what was before."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from studio import permissions
from tests.deploy.processes import ROOT, command_of, running, until
from tests.live import live_studio

OTHERS = stat.S_IRWXO
GROUP_AND_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def run(folder: Path, *arguments: str, **variables: str) -> subprocess.CompletedProcess:
    """One of the studio's commands from a shell that hides nothing."""
    return subprocess.run(
        [sys.executable, "-m", "studio", *arguments],
        cwd=ROOT,
        env={**os.environ, "STUDIO_DATA": str(folder), "DATABASE_URL": "", **variables},
        capture_output=True,
        text=True,
        timeout=120,
        preexec_fn=lambda: os.umask(0),
    )


def open_to(mask: int, folder: Path) -> list[str]:
    """Paths, the folder's own among them, on which any of these bits is set."""
    return sorted(
        f"{path} {stat.filemode(path.lstat().st_mode)}"
        for path in (folder, *folder.rglob("*"))
        if not path.is_symlink() and path.lstat().st_mode & mask
    )


def test_a_new_data_folder_and_a_backup_are_nobody_elses(tmp_path):
    data = tmp_path / "data"
    assert run(data, "prepare").returncode == 0
    assert (data / "studio.sqlite3").exists()
    assert open_to(GROUP_AND_OTHERS, data) == []
    done = run(data, "backup", str(tmp_path / "backups"))
    assert done.returncode == 0, done.stderr
    assert open_to(GROUP_AND_OTHERS, tmp_path / "backups") == []


def test_what_was_open_before_is_put_right(tmp_path):
    data = tmp_path / "data"
    assert run(data, "prepare").returncode == 0
    clip = data / "media" / "clips" / "ab" / "original"
    clip.parent.mkdir(parents=True)
    clip.write_bytes(b"a recording")
    for path in data.rglob("*"):
        path.chmod(0o777 if path.is_dir() else 0o666)
    data.chmod(0o755)
    assert run(data, "prepare").returncode == 0
    assert open_to(GROUP_AND_OTHERS, data) == []
    assert clip.read_bytes() == b"a recording"


def test_nginx_reads_recordings_and_nothing_else(tmp_path):
    data = tmp_path / "data"
    assert run(data, "prepare", MEDIA_BY_NGINX="1").returncode == 0
    media = data / "media"
    data.chmod(0o711)
    media.chmod(0o2755)
    (media / "clip").write_bytes(b"a recording")
    (media / "clip").chmod(0o644)
    assert run(data, "prepare", MEDIA_BY_NGINX="1").returncode == 0
    assert open_to(OTHERS, data) == []
    assert stat.S_IMODE(data.stat().st_mode) == 0o710
    assert stat.S_IMODE(media.stat().st_mode) == 0o2750
    assert stat.S_IMODE((media / "clip").stat().st_mode) == 0o640
    outside = [path for path in data.iterdir() if path != media]
    assert [line for path in outside for line in open_to(GROUP_AND_OTHERS, path)] == []


@pytest.mark.parametrize(("nginx", "mask"), [(False, 0o077), (True, 0o027)])
def test_the_mask_leaves_out_everybody_but_nginx(nginx, mask):
    assert permissions.mask(media_by_nginx=nginx) == mask


@pytest.mark.worker
@pytest.mark.django_db(transaction=True)
def test_every_process_of_the_studio_writes_for_itself_alone(tmp_path):
    before = os.umask(0)
    try:
        with live_studio(tmp_path) as studio:
            family = until(lambda: running(studio.supervisor.children(recursive=True)), 10, "some")
            masks = {
                command_of(one): _umask(one.pid)
                for one in family
                if "celery" in command_of(one) or "gunicorn" in command_of(one)
            }
            assert len(masks) >= 4
            assert set(masks.values()) == {0o077}, masks
    finally:
        os.umask(before)


def _umask(pid: int) -> int:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return int(next(line.split()[1] for line in lines if line.startswith("Umask:")), 8)
