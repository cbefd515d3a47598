"""Static files are collected where they are not what was collected before, and only there."""

import json

import pytest

from studio import collecting


@pytest.fixture
def folder(settings, tmp_path):
    """Where two small files of our own are collected to."""
    (tmp_path / "ours").mkdir()
    (tmp_path / "ours" / "page.css").write_text("p { margin: 0; }")
    (tmp_path / "ours" / "page.js").write_text("export const one = 1;\n")
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    settings.STATICFILES_DIRS = [tmp_path / "ours"]
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STORAGES = settings.STORAGES | {
        "staticfiles": {"BACKEND": "studio.staticfiles.NamedByContent"}
    }
    collecting.collect()
    return tmp_path / "static"


@pytest.fixture
def collected(monkeypatch):
    """Whether they are collected from now on."""
    calls = []
    before = collecting.call_command
    monkeypatch.setattr(
        collecting, "call_command", lambda *a, **k: calls.append(a) or before(*a, **k)
    )
    return calls


def name_of(folder, file: str) -> str:
    return json.loads((folder / collecting.MANIFEST).read_text())["paths"][file]


def test_the_same_files_are_not_collected_again(folder, collected):
    collecting.collect()
    assert collected == []


def test_a_changed_file_has_a_new_name_at_the_next_start(folder, collected, tmp_path):
    before = name_of(folder, "page.js")
    (tmp_path / "ours" / "page.js").write_text("export const one = 2;\n")  # of the same length
    collecting.collect()
    assert collected
    assert name_of(folder, "page.js") != before
    assert (folder / name_of(folder, "page.js")).read_text() == "export const one = 2;\n"


@pytest.mark.parametrize("lost", ["page.css", "page.js"])
def test_what_was_lost_comes_back(folder, collected, lost):
    (folder / name_of(folder, lost)).unlink()
    collecting.collect()
    assert (folder / name_of(folder, lost)).is_file()


def test_what_was_cut_off_is_done_again(folder, monkeypatch, tmp_path):
    (tmp_path / "ours" / "page.css").write_text("p { margin: 1px; }")

    def cut_off(*arguments, **options):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(collecting, "call_command", cut_off)
        with pytest.raises(KeyboardInterrupt):
            collecting.collect()
    collecting.collect()
    assert "margin: 1px" in (folder / name_of(folder, "page.css")).read_text()
