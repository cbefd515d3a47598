"""The metrics page: its format, its figures, and who may read it.

Format: OpenMetrics 1.0 (https://github.com/prometheus/OpenMetrics/blob/main/specification/
OpenMetrics.md, also draft-ietf-opsawg-openmetrics-00): read by prometheus_client's own strict
parser, and by rules of the text that are spelled out below.
"""

import re
import subprocess
import sys
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from studio.accounts.models import Letter
from studio.clips.models import Clip, Original, Stage
from studio.clips.uploads import services as uploads
from studio.operations import metrics_folder, requests
from studio.workers import pace, signs
from tests.cast import make_clip
from tests.review.heard_clip import heard_clip

TOKEN = "a-token-that-nobody-guesses"
VISITOR = {"REMOTE_ADDR": "203.0.113.5"}  # RFC 5737: addresses for documentation


def page(**more) -> str:
    answer = Client().get("/metrics", **more)
    assert answer.status_code == 200
    return answer.content.decode()


def figures(text: str) -> dict:
    return {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


@pytest.fixture
def there(db, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def test_the_type_and_the_rules_of_the_text(there, cast):
    make_clip(cast.enrolment)
    Client().get("/log-in/")
    answer = Client().get("/metrics")
    # OpenMetrics 1.0, "Negotiation": the media type with its version.
    assert answer["Content-Type"] == ("application/openmetrics-text; version=1.0.0; charset=utf-8")
    assert answer["Cache-Control"] == "no-store"
    text = answer.content.decode()
    # "Overall Structure": UTF-8, \n alone, the last line is # EOF, and no empty line.
    assert text.endswith("\n# EOF\n")
    assert "\r" not in text
    lines = text.split("\n")[:-2]
    assert "" not in lines
    families = [line.split()[2] for line in lines if line.startswith("# TYPE ")]
    assert len(families) == len(set(families)), "a family is told in one piece"
    open_family, units = "", dict(line.split()[2:4] for line in lines if line.startswith("# UNIT "))
    types = dict(line.split()[2:4] for line in lines if line.startswith("# TYPE "))
    seen: set[str] = set()
    for line in lines:
        if line.startswith("# "):
            open_family = line.split()[2]
            continue
        name = re.match(r"[a-zA-Z_:][a-zA-Z0-9_:]*", line)[0]
        assert name.startswith(open_family), line
        assert line not in seen
        seen.add(line)
        if types[open_family] == "counter":  # "Counter": the sample ends in _total
            assert name in (f"{open_family}_total", f"{open_family}_created")
    for family, unit in units.items():  # "Unit": the name ends with it
        assert family.endswith(f"_{unit}")
    assert {"studio_http_requests", "studio_work", "studio_disk_free_bytes"} <= set(families)


def test_what_waits_and_what_failed_by_kind(there, cast):
    clips = [make_clip(cast.enrolment, f"Clip {number}") for number in range(3)]
    listening = Stage.objects.filter(kind="listening")
    listening.filter(clip=clips[0]).update(
        state="waiting", changed_at=timezone.now() - timedelta(minutes=7)
    )
    listening.filter(clip=clips[1]).update(state="failed")
    found = figures(page())
    work = {
        state: found["studio_work", ("kind", "listening"), ("state", state)]
        for state in ("waiting", "failed", "heard")
    }
    assert work == {"waiting": 1, "failed": 1, "heard": 1}
    oldest = found["studio_work_oldest_waiting_seconds", ("kind", "listening")]
    assert 419 <= oldest < 480
    assert found["studio_work_oldest_waiting_seconds", ("kind", "small")] == 0


def test_what_waits_for_a_person_is_no_waiting_for_a_worker(there, cast):
    """Without consent a listening rests; no alarm is to ring for it."""
    clip = make_clip(cast.enrolment)
    Stage.objects.filter(clip=clip, kind="listening").update(
        state="waiting", changed_at=timezone.now() - timedelta(days=7)
    )
    cast.pupil.consents.all().delete()
    assert figures(page())["studio_work_oldest_waiting_seconds", ("kind", "listening")] == 0
    Clip.objects.filter(pk=clip.pk).update(erased_at=timezone.now())
    assert figures(page())["studio_work", ("kind", "listening"), ("state", "waiting")] == 0


def test_clips_of_an_earlier_engine_are_counted_and_ring_no_alarm(there, cast):
    clip = heard_clip(cast.enrolment)
    clip.listenings.update(engine="0.9.0")
    Original.objects.create(clip=clip, path="there", sha256="0" * 64, size_bytes=1)
    long_ago = timezone.now() - timedelta(days=7)
    Stage.objects.create(clip=clip, kind="rehearing", changed_at=long_ago)
    found = figures(page())
    assert found["studio_clips_of_earlier_engine",] == 1
    assert found["studio_work", ("kind", "rehearing"), ("state", "waiting")] == 1
    assert found["studio_work_oldest_waiting_seconds", ("kind", "rehearing")] == 0


def test_letters_uploads_pace_and_workers(there, cast):
    Letter.objects.create(kind="answer", to="a@b.example")
    Letter.objects.create(kind="answer", to="a@b.example", attempts=8)
    uploads.begin(cast.enrolment, cast.pupil, 9, "half.mp4")
    pace.note("listening", 60.0, 3.0)
    pace.note("listening", 30.0, 1.5)
    signs.begin("listening@here", ["listening", "sweep"])
    found = figures(page())
    assert found["studio_letters", ("state", "waiting")] == 1
    assert found["studio_letters", ("state", "failed")] == 1
    assert found["studio_uploads_unfinished",] == 1
    assert found["studio_listening_speed_ratio",] == pytest.approx(20)
    assert found["studio_listeners",] == 1
    seen = found["studio_worker_seen_timestamp_seconds", ("worker", "listening@here")]
    assert abs(seen - timezone.now().timestamp()) < 60
    assert found["studio_disk_free_bytes", ("place", "data")] > 0
    assert found["studio_part_up", ("part", "database")] == 1


def test_requests_are_counted_by_view_and_status_and_probes_are_not(there, cast):
    key = ("studio_http_requests_total", ("status", "200"), ("view", "log_in"))
    before = figures(page()).get(key, 0)
    for _ in range(3):
        Client().get("/log-in/")
    after = figures(page())
    assert after[key] == before + 3
    assert after["studio_http_request_duration_seconds_count", ("view", "log_in")] >= 3
    assert not [name for name in after if ("view", "health") in name or ("view", "metrics") in name]


def test_nothing_of_a_person_is_told(there, cast):
    clip = make_clip(cast.enrolment, "Octaves in the kitchen")
    for address in (f"/clips/{clip.pk}/", "/invitation/a-secret-word/", "/nothing/of/that/kind/"):
        Client().get(address)
    text = page()
    for private in ("Octaves", "Sandholm", "@", str(clip.pk), "a-secret-word", "nothing/of"):
        assert private not in text, private


@pytest.mark.parametrize(
    ("token", "brought", "more", "status"),
    [
        ("", "", {}, 200),
        ("", "", {"REMOTE_ADDR": "::1"}, 200),
        ("", "", {"REMOTE_ADDR": "::ffff:127.0.0.1"}, 200),
        ("", "", VISITOR, 404),
        ("", "", {"REMOTE_ADDR": ""}, 404),
        # Through nginx on this machine everybody's address is this machine's.
        ("", "", {"HTTP_X_FORWARDED_FOR": "203.0.113.5"}, 404),
        ("", "", {"HTTP_X_FORWARDED_FOR": "127.0.0.1"}, 404),
        ("", f"Bearer {TOKEN}", VISITOR, 404),
        (TOKEN, "", {}, 404),
        (TOKEN, f"Bearer {TOKEN}", VISITOR, 200),
        (TOKEN, f"bearer {TOKEN}", {"HTTP_X_FORWARDED_FOR": "203.0.113.5"}, 200),
        (TOKEN, f"Basic {TOKEN}", VISITOR, 404),
        (TOKEN, f"Bearer {TOKEN}x", VISITOR, 404),
        (TOKEN, "Bearer é", VISITOR, 404),
    ],
)
def test_who_may_read_it(there, settings, token, brought, more, status):
    settings.METRICS_TOKEN = token
    headers = {"Authorization": brought} if brought else {}
    answer = Client().get("/metrics", headers=headers, **more)
    assert answer.status_code == status
    assert (b"studio_" in answer.content) == (status == 200)


COUNT = """
import django, os
django.setup()
from django.test import Client
from studio.operations import parts
parts.PARTS = ()
for _ in range(2):
    Client().get("/waiting/", headers={"Host": "localhost"})
print(os.getpid())
"""


def test_all_web_processes_are_counted_together(there, tmp_path, monkeypatch):
    """Three processes, one of which has ended: none of their requests is lost."""
    monkeypatch.setenv(metrics_folder.VARIABLE, "")
    folder = metrics_folder.prepare(tmp_path, 8000)
    try:
        for _ in range(3):
            done = subprocess.run(
                [sys.executable, "-c", COUNT], capture_output=True, text=True, timeout=120
            )
            assert done.returncode == 0, done.stderr
        together = figures(page())
        key = ("studio_http_requests_total", ("status", "302"), ("view", "waiting_list"))
        assert together[key] == 6
        count = ("studio_http_request_duration_seconds_count", ("view", "waiting_list"))
        assert together[count] == 6
        assert requests.counted() is not requests.counted()
    finally:
        metrics_folder.remove()
    assert not folder.exists()


def test_each_start_counts_from_nothing(tmp_path, monkeypatch):
    monkeypatch.setenv(metrics_folder.VARIABLE, "")
    first = metrics_folder.prepare(tmp_path, 8000)
    (first / "counter_1.db").write_bytes(b"x")
    second = metrics_folder.prepare(tmp_path, 8000)
    other = metrics_folder.prepare(tmp_path, 8001)
    assert first == second != other
    assert list(second.iterdir()) == []
    assert oct(second.stat().st_mode & 0o777) == "0o700"
    for folder in (second, other):
        folder.rmdir()
