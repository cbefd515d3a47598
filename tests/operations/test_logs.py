"""The log: one line an event, as text or as JSON, and nothing of a person in it."""

import json
import logging
import sys
import urllib.error
import urllib.request
from datetime import datetime

import pytest

from studio import log_lines as logs
from tests.deploy.processes import until
from tests.live import live_studio

CLIP = "0f1e2d3c-4b5a-6978-8796-a5b4c3d2e1f0"
SECRET = "hN3-xW_9qLr2tYv"


def record(message: str, *args, exc_info=None, **more) -> logging.LogRecord:
    made = logging.LogRecord("studio.clips", logging.WARNING, "", 1, message, args, exc_info)
    made.__dict__ |= more
    return made


def test_a_line_of_json_says_what_it_is_about():
    with logs.about(request="r-1", job="j-1", clip=CLIP):
        said = json.loads(logs.JsonLine().format(record("listening: %s", "done")))
    assert said["message"] == "listening: done"
    assert (said["level"], said["logger"]) == ("WARNING", "studio.clips")
    assert (said["request"], said["job"], said["clip"]) == ("r-1", "j-1", CLIP)
    # RFC 3339, section 5.6: a date-time with its offset.
    assert datetime.fromisoformat(said["time"]).utcoffset().total_seconds() == 0


def test_outside_of_work_a_clip_is_taken_from_the_message():
    said = json.loads(logs.JsonLine().format(record(f"sending listening of {CLIP} again")))
    assert said["clip"] == CLIP
    assert "request" not in said
    assert "job" not in said


def test_what_went_wrong_stays_on_the_line():
    try:
        raise ValueError("Key (email)=(mira.sandholm@pupil.example) exists\nand more")
    except ValueError:
        made = record("unexpected", exc_info=sys.exc_info())
    line = logs.JsonLine().format(made)
    assert "\n" not in line
    said = json.loads(line)
    assert "ValueError" in said["exception"]
    assert "mira" not in line
    assert "mira" not in logs.formatter("text").format(made)


@pytest.mark.parametrize(
    ("message", "kept"),
    [
        (f"Not Found: /invitation/{SECRET}/", "Not Found: /invitation/***"),
        (f"Not Found: /new-password/link/{SECRET}/", "Not Found: /new-password/link/***"),
        (f"Not Found: /new-password/MQ/{SECRET}/", "Not Found: /new-password/***"),
        (f"Not Found: /account/address/{SECRET}/", "Not Found: /account/address/***"),
        ("Invalid request from ip=203.0.113.5: no", "Invalid request from ip=… no"),
        ("to a.b+c@home.example now", "to (address) now"),
        (f"listening of {CLIP}: done", f"listening of {CLIP}: done"),
    ],
)
def test_what_opens_a_door_or_names_a_person_is_left_out(message, kept):
    assert json.loads(logs.JsonLine().format(record(message)))["message"] == kept
    assert logs.formatter("text").format(record(message)).endswith(kept)


def test_a_request_has_a_name_in_its_lines_and_its_answer(client, settings, db):
    settings.PROXY = False
    answer = client.get("/log-in/", headers={"X-Request-ID": "from-a-browser"})
    assert len(answer["X-Request-ID"]) == 32
    settings.PROXY = True
    answer = client.get("/log-in/", headers={"X-Request-ID": "from-the-web-server-1"})
    assert answer["X-Request-ID"] == "from-the-web-server-1"
    forged = client.get("/log-in/", headers={"X-Request-ID": 'x", "level": "y'})
    assert len(forged["X-Request-ID"]) == 32


@pytest.mark.worker
def test_every_line_of_a_running_studio_is_json(tmp_path):
    unset = dict.fromkeys(("DATABASE_URL", "BROKER_URL", "EMAIL_URL", "SECRET_KEY"), "")
    data = str(tmp_path / "data")
    with live_studio(tmp_path, STUDIO_DATA=data, LOG_FORMAT="json", **unset) as studio:
        assert status(f"{studio.url}/ready") == 200
        assert status(f"{studio.url}/invitation/{SECRET}/") == 404
        until(lambda: "ready to listen" in studio.log, 90, "a listener")
        until(lambda: b"studio_listeners 1.0" in read(f"{studio.url}/metrics"), 60, "its sign")
        assert status(f"{studio.url}/nothing/", {"X-Forwarded-For": "203.0.113.5"}) in (302, 404)
    lines = [line for line in studio.log.splitlines() if line.strip()]
    said = [json.loads(line) for line in lines if line.startswith("{")]
    # Beside them only what `serve` says to whoever starts it.
    plain = [line for line in lines if not line.startswith("{")]
    assert [line for line in plain if line not in GREETING and "http://127" not in line] == []
    assert {one["logger"] for one in said} >= {"studio.supervisor", "django.request"}
    missing = next(one for one in said if one["message"].startswith("Not Found: /inv"))
    assert missing["message"] == "Not Found: /invitation/***"
    assert len(missing["request"]) == 32
    for private in (SECRET, "203.0.113.5"):
        assert private not in studio.log


GREETING = {
    "System check identified no issues (0 silenced).",
    "Ctrl-C stops it.",
    "studio: BACKUP_FOLDER is not set: no backup is made by itself.",
    "worker: Warm shutdown (MainProcess)",  # Celery prints it
}


def read(url: str) -> bytes:
    with urllib.request.urlopen(url, timeout=20) as answer:
        return answer.read()


def status(url: str, headers=None) -> int:
    try:
        with urllib.request.urlopen(
            urllib.request.Request(url, headers=headers or {}), timeout=20
        ) as answer:
            return answer.status
    except urllib.error.HTTPError as refused:
        return refused.code
