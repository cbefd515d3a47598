"""The demo never reaches what the shell has set for the real studio."""

import os

import pytest

from studio import serving


@pytest.mark.parametrize("name", ["DATABASE_URL", "OBJECT_STORE", "BACKUP_FOLDER", "EMAIL_URL"])
def test_what_is_set_for_the_real_studio_is_not_the_demos(monkeypatch, tmp_path, name):
    monkeypatch.setenv(name, "of the real studio")
    for variable in ("STUDIO_DATA", "ADDRESS", "PORT"):
        monkeypatch.setenv(variable, os.environ.get(variable, ""))
    monkeypatch.setattr(serving, "_prepare", lambda *options: None)
    monkeypatch.setattr(serving, "_supervise", lambda words: os.environ.get(name, "unset"))
    monkeypatch.setattr(serving.Path, "read_text", lambda path: "logins")
    monkeypatch.setattr(serving, "_only_one", lambda data: (tmp_path / "lock").open("w"))
    assert serving.demo(tmp_path, None) == "unset"
