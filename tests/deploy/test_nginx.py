"""The studio behind a real nginx with the deployed site: who gets which bytes of a recording."""

import http.client
import shutil
import socket
import ssl
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.conf import settings as django_settings
from django.utils import timezone

from studio.accounts import consent
from studio.accounts.models import GuardianLink
from studio.clips import services, tasks
from studio.clips.models import Rendition
from tests.cast import Cast, as_person, make_cast
from tests.deploy.processes import ROOT
from tests.live import live_studio
from tests.servers import Nginx

pytestmark = pytest.mark.django_db(transaction=True)

SAMPLE = ROOT / "sample_media" / "clips" / "short-octaves.mp4"


@dataclass(frozen=True)
class Front:
    """nginx in front of a studio that holds one playable recording."""

    nginx: Nginx
    cast: Cast
    path: str
    stored: str
    content: bytes

    def get(self, path: str, who=None, method: str = "GET", **headers: str):
        """Ask nginx as a browser with this person's session would; the answer and its body."""
        browser = self._browser()
        browser.request(method, path, headers=headers | self._cookie(who))
        answer = browser.getresponse()
        return answer, answer.read()

    def player(self, who) -> Callable[[int, int], tuple[int, bytes]]:
        """Asks for one Range after the other, over one connection that is kept open."""
        browser, cookie = self._browser(), self._cookie(who)

        def ask(first: int, last: int) -> tuple[int, bytes]:
            headers = {"Range": f"bytes={first}-{last}"}
            browser.request("GET", self.path, headers=cookie | headers)
            answer = browser.getresponse()
            return answer.status, answer.read()

        return ask

    def _browser(self) -> http.client.HTTPSConnection:
        unchecked = ssl._create_unverified_context()
        return http.client.HTTPSConnection("localhost", self.nginx.port, context=unchecked)

    def _cookie(self, who) -> dict[str, str]:
        if who is None:
            return {}
        return {"Cookie": f"__Host-session={as_person(who).cookies['session'].value}"}


@pytest.fixture
def data() -> Iterator[Path]:
    """A data folder as the runbook sets it up: nginx may pass through it and read recordings."""
    folder = Path(tempfile.mkdtemp(prefix="studio-behind-nginx-"))
    folder.chmod(0o710)
    (folder / "media").mkdir(mode=0o750)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture
def front(data, settings, tmp_path, monkeypatch) -> Iterator[Front]:
    settings.MEDIA_ROOT = data / "media"
    monkeypatch.setattr(services, "dispatch", lambda clip_id, kind: True)
    cast = make_cast()
    clip = services.receive(cast.enrolment, cast.pupil, [SAMPLE.read_bytes()], "clip.mp4")
    tasks.prepare_playback(str(clip.pk))
    stored = Rendition.objects.get(clip=clip, kind=Rendition.Kind.PLAYABLE).path
    variables = {"STUDIO_DATA": str(data), "SECRET_KEY": django_settings.SECRET_KEY}
    variables |= {"HTTPS": "1", "MEDIA_BY_NGINX": "1"}
    with live_studio(tmp_path, **variables) as studio:
        nginx = Nginx(int(studio.url.rpartition(":")[2]), settings.MEDIA_ROOT)
        try:
            nginx.start()
            content = (settings.MEDIA_ROOT / stored).read_bytes()
            yield Front(nginx, cast, f"/clips/{clip.pk}/media/", stored, content)
        finally:
            nginx.remove()


@pytest.mark.fault(
    33,
    "consent is withdrawn while a teacher plays the recording through nginx",
    "the next Range is refused, and has no byte of the recording",
)
@pytest.mark.fault(34, "a guardian is unlinked while playing through nginx", "404 at once")
def test_nginx_sends_recordings_to_those_who_may_have_them(front, seen):
    cast = front.cast
    _its_bytes_are_right(front, cast.pupil)
    for who in (cast.foreign_teacher, cast.other_pupil, cast.unlinked_guardian):
        assert front.get(front.path, who, Range="bytes=0-9")[0].status == 404
    assert front.get(front.path)[0].status in (302, 404)
    for path in (f"/stored/{front.stored}", f"/media/{front.stored}", "/stored/../secret_key"):
        answer, body = front.get(path, cast.teacher)
        assert answer.status in (400, 404)
        assert front.content[:100] not in body

    seen(_a_withdrawal_refuses_the_next_range(front))
    seen(_an_unlinked_guardian_gets_404(front))
    _plain_http_is_sent_to_https(front)


def _its_bytes_are_right(front: Front, who) -> None:
    answer, body = front.get(front.path, who)
    assert (answer.status, body) == (200, front.content)
    answer, body = front.get(front.path, who, Range="bytes=1000-1999")
    assert (answer.status, body) == (206, front.content[1000:2000])
    assert answer.headers["Content-Range"] == f"bytes 1000-1999/{len(front.content)}"
    assert answer.headers["Content-Type"] == "video/mp4"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "private, no-cache"
    assert answer.headers["Content-Disposition"].startswith("inline; filename=")
    assert "X-Accel-Redirect" not in answer.headers
    answer, _ = front.get(front.path, who, Range=f"bytes={len(front.content)}-")
    assert answer.status == 416
    assert answer.headers["Content-Range"] == f"bytes */{len(front.content)}"
    answer, body = front.get(front.path, who, method="HEAD")
    assert (answer.status, body) == (200, b"")
    assert answer.headers["Content-Length"] == str(len(front.content))


def _a_withdrawal_refuses_the_next_range(front: Front) -> str:
    """The teacher plays over one connection, which stays open."""
    cast = front.cast
    player = front.player(cast.teacher)
    assert player(0, 999) == (206, front.content[:1000])
    consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    status, body = player(1000, 1999)
    assert status == 403
    assert "was withdrawn on" in body.decode()
    assert player(0, 999)[0] == 403, "not even what was had before"
    for who in (cast.pupil, cast.guardian):
        assert front.player(who)(1000, 1999) == (206, front.content[1000:2000])
    consent.give(
        cast.enrolment,
        cast.guardian,
        consent.Purpose.RECORDINGS,
        consent.standing(cast.enrolment).mark,
    )
    assert player(2000, 2999) == (206, front.content[2000:3000])
    return f"206, withdrawn, {status} with a sentence; pupil and guardian 206; given again, 206"


def _an_unlinked_guardian_gets_404(front: Front) -> str:
    player = front.player(front.cast.guardian)
    assert player(0, 9)[0] == 206
    GuardianLink.objects.filter(guardian=front.cast.guardian).update(ended_on=timezone.localdate())
    status, body = player(10, 1999)
    assert status == 404
    assert front.content[10:100] not in body
    return f"206, unlinked, {status}"


def _plain_http_is_sent_to_https(front: Front) -> None:
    browser = http.client.HTTPConnection("localhost", front.nginx.plain_port)
    browser.request("GET", "/log-in/?next=/")
    answer = browser.getresponse()
    assert (answer.status, answer.headers["Location"]) == (301, "https://localhost/log-in/?next=/")


@pytest.fixture
def alone(tmp_path) -> Iterator[Nginx]:
    """nginx with the deployed site, and nothing behind it."""
    nginx = Nginx(1, tmp_path)
    try:
        nginx.start()
        yield nginx
    finally:
        nginx.remove()


def test_the_authority_finds_its_challenge_without_encryption(alone):
    """RFC 8555, 8.3: it is fetched over plain HTTP from /.well-known/acme-challenge/."""
    folder = alone.folder / "challenges" / ".well-known" / "acme-challenge"
    folder.mkdir(parents=True)
    (folder / "token").write_text("token.thumbprint")
    for path in (folder / "token", folder, *folder.parents[:2]):
        path.chmod(0o755)
    browser = http.client.HTTPConnection("127.0.0.1", alone.plain_port)
    browser.request("GET", "/.well-known/acme-challenge/token", headers={"Host": "localhost"})
    answer = browser.getresponse()
    assert (answer.status, answer.read()) == (200, b"token.thumbprint")


def test_another_name_gets_no_answer_and_no_certificate(alone):
    browser = http.client.HTTPConnection("127.0.0.1", alone.plain_port)
    browser.request("GET", "/log-in/", headers={"Host": "elsewhere.example"})
    with pytest.raises(http.client.RemoteDisconnected):
        browser.getresponse()
    unchecked = ssl._create_unverified_context()
    with (
        socket.create_connection(("127.0.0.1", alone.port)) as plain,
        pytest.raises(ssl.SSLError, match="UNRECOGNIZED_NAME"),
    ):
        unchecked.wrap_socket(plain, server_hostname="elsewhere.example")


def test_the_site_listens_on_both_kinds_of_address_and_speaks_http_2(alone):
    site = (ROOT / "deploy" / "nginx.conf").read_text()
    for listen in ("80", "443 ssl http2", "80 default_server", "443 ssl default_server"):
        assert f"    listen {listen};\n    listen [::]:{listen};\n" in site
    offers = ssl._create_unverified_context()
    offers.set_alpn_protocols(["h2", "http/1.1"])
    with (
        socket.create_connection(("127.0.0.1", alone.port)) as plain,
        offers.wrap_socket(plain, server_hostname="localhost") as encrypted,
    ):
        assert encrypted.selected_alpn_protocol() == "h2"
