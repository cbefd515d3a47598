"""What a phone keeps for when there is no line: what is asked for, what is in it, and whose it is.

Sources: W3C, Web Application Manifest; W3C, Service Workers, 3.1 (a worker answers for its folder).
"""

import json
import re
import struct
from pathlib import Path

import pytest
from django.contrib.messages import get_messages
from django.urls import reverse

from studio.review.models import Return
from studio.review.web import offline
from tests.cast import as_person, make_clip, make_drill, make_return, set_for
from tests.review.heard_clip import heard_clip

pytestmark = pytest.mark.django_db

STATIC = Path(offline.__file__).parents[2] / "static"
ASKED_FOR = re.compile(r"""(?:src|href)="/static/([^"?]+\.(?:js|css))\"""")


def keeps(client, address: str) -> dict:
    found = re.search(
        r'<script id="keeps" type="application/json">(.*?)</script>', page(client, address)
    )
    assert found, address
    return json.loads(found[1])


def page(client, address: str, **headers) -> str:
    return client.get(address, headers=headers).content.decode()


def paths(kept: dict) -> list[str]:
    return [one["path"] for one in kept["pages"]]


@pytest.fixture
def lesson(cast) -> tuple:
    """A drill that is set, and a clip that came back, not read yet."""
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    return assignment, make_return(heard_clip(cast.enrolment))


def test_the_manifest_names_icons_that_are_there_in_their_sizes(client):
    response = client.get("/manifest.webmanifest")
    said = json.loads(response.content)
    assert response["Content-Type"] == "application/manifest+json"
    assert (said["start_url"], said["scope"], said["display"]) == ("/", "/", "standalone")
    drawn = [one for one in said["icons"] if one["type"] == "image/png"]
    assert {one["purpose"] for one in drawn} == {"any", "maskable"}
    for icon in drawn:
        header = (STATIC / icon["src"].removeprefix("/static/")).read_bytes()[16:24]
        assert "{}x{}".format(*struct.unpack(">II", header)) == icon["sizes"]


def test_the_worker_stands_at_the_root_and_may_only_ask_the_studio(client):
    response = client.get("/worker.js")
    assert response["Content-Type"].startswith("text/javascript")
    policy = set(response["Content-Security-Policy"].split("; "))
    assert policy == {"default-src 'none'", "connect-src 'self'", "frame-ancestors 'none'"}


def test_the_pages_of_the_pupil_and_of_her_guardian_are_kept_and_no_teachers(cast, lesson):
    assignment, returned = lesson
    drill = reverse("assignment", args=[assignment.pk])
    clip = reverse("clip_page", args=[returned.review.clip_id])
    own = keeps(as_person(cast.pupil), "/queue/")
    noting = reverse("practice", args=[cast.enrolment.pk])
    assert paths(own) == ["/queue/", drill, clip, "/send/", "/record/", noting]
    at_home = reverse("child", args=[cast.enrolment.pk])
    child = keeps(as_person(cast.guardian), at_home)
    sending = [f"{at_home}send/", f"{at_home}record/"]
    assert paths(child) == [at_home, drill, clip, *sending, noting]
    assert keeps(as_person(cast.guardian), "/children/")["homes"] == [at_home]
    for address in ("/waiting/", "/pupils/", clip):
        assert "keep.js" not in page(as_person(cast.teacher), address)


def test_what_changed_is_asked_for_again_and_nothing_else(cast, lesson):
    pupil = as_person(cast.pupil)
    before = {one["path"]: one["mark"] for one in keeps(pupil, "/queue/")["pages"]}
    assert before == {one["path"]: one["mark"] for one in keeps(pupil, "/queue/")["pages"]}
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Sixths"))
    after = {one["path"]: one["mark"] for one in keeps(pupil, "/queue/")["pages"]}
    assert before["/queue/"] != after["/queue/"]
    drill = reverse("assignment", args=[lesson[0].pk])
    assert before[drill] == after[drill]


def test_only_the_newest_answers_are_kept(cast):
    for number in range(offline.RETURNS_KEPT + 1):
        make_return(make_clip(cast.enrolment, f"Take {number}"))
    kept = paths(keeps(as_person(cast.pupil), "/queue/"))
    assert len([path for path in kept if path.startswith("/clips/")]) == offline.RETURNS_KEPT


def test_a_copy_is_no_reading_and_holds_no_recording(cast, lesson):
    address = reverse("clip_page", args=[lesson[1].review.clip_id])
    copy = page(as_person(cast.pupil), address, X_Keep="1")
    assert "Without a line: as of" in copy
    assert "Listen to the upper note." in copy
    assert not re.search(r"<(video|audio|iframe)|/media/|/small/|/poster/|htmx.*js", copy)
    assert Return.objects.get().read_at is None
    assert "Without a line" not in page(as_person(cast.pupil), address)
    assert Return.objects.get().read_at is not None


def test_a_copy_takes_no_message_away(cast, lesson):
    pupil = as_person(cast.pupil)
    pupil.post(reverse("tick_off", args=[lesson[0].pk]), {"next": "/queue/"})
    told = [
        str(one) for one in get_messages(pupil.get("/queue/", headers={"X-Keep": "1"}).wsgi_request)
    ]
    assert told
    assert told[0] in page(pupil, "/queue/")


def test_every_answer_says_whose_session_it_was(cast, client):
    assert as_person(cast.pupil).get("/queue/")["X-Person"] == str(cast.pupil.pk)
    assert client.get("/log-in/")["X-Person"] == "nobody"


def test_all_that_a_copy_asks_for_is_kept_with_it(cast, lesson):
    pupil = as_person(cast.pupil)
    needed = set(offline.needed())
    for address in [*paths(keeps(pupil, "/queue/")), "/offline/"]:
        asked = set(ASKED_FOR.findall(page(pupil, address, X_Keep="1")))
        assert asked - needed - {"offline/keep.js"} == set(), address
    listed = json.loads(pupil.get("/offline/files/").content)["files"]
    assert {one.removeprefix("/static/") for one in listed} == needed


def test_the_worker_and_the_pages_call_what_is_kept_by_the_same_names():
    """A worker cannot import the pages' module."""
    folder = STATIC / "offline"
    said = [
        dict(re.findall(r'^const ([A-Z_]+) = "([^"]+)";', (folder / name).read_text(), re.M))
        for name in ("worker.js", "copies.js")
    ]
    both = said[0].keys() & said[1].keys()
    assert both >= {"COPIES", "FILES", "LIST", "KEPT_AT"}
    assert {name: said[0][name] for name in both} == {name: said[1][name] for name in both}
