"""Who may have a recording is asked at every Range, so also while it plays."""

import pytest
from django.utils import timezone

from studio.accounts import consent
from studio.accounts.models import GuardianLink
from studio.clips.models import Rendition
from studio.clips.storage.stores import store
from tests.cast import as_person, make_clip

CONTENT = bytes(range(256)) * 40
RECORDINGS = consent.Purpose.RECORDINGS


@pytest.fixture(params=["folder", "object store"])
def place(request):
    """Where recordings are kept: a real folder, or a store that speaks S3 over HTTP."""
    if request.param == "object store":
        request.getfixturevalue("bucket")
    return request.param


@pytest.fixture
def media(place, cast) -> str:
    """The address of a recording that can be played."""
    clip = make_clip(cast.enrolment)
    made = store().bench() / "made"
    made.write_bytes(CONTENT)
    store().put(made, "clips/played")
    Rendition.objects.create(
        clip=clip,
        kind=Rendition.Kind.PLAYABLE,
        path="clips/played",
        sha256="abc",
        size_bytes=len(CONTENT),
        content_type="video/mp4",
    )
    return f"/clips/{clip.pk}/media/"


def ask(player, media: str, first: int, last: int) -> tuple[int, bytes]:
    """What a player gets for one Range."""
    answer = player.get(media, headers={"range": f"bytes={first}-{last}", "accept": "*/*"})
    return answer.status_code, answer.getvalue()


@pytest.mark.fault(
    33,
    "consent is withdrawn while a teacher plays the recording",
    "the next Range is refused; the child's own player goes on",
)
def test_a_withdrawal_refuses_the_next_range(cast, place, media, seen):
    player, again = as_person(cast.teacher), as_person(cast.pupil)
    assert ask(player, media, 0, 999) == (206, CONTENT[:1000])
    consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS)
    status, body = ask(player, media, 1000, 1999)
    assert status == 403
    assert b"was withdrawn on" in body
    assert ask(player, media, 1000, 1999)[0] == 403
    assert ask(again, media, 1000, 1999) == (206, CONTENT[1000:2000])
    assert ask(as_person(cast.guardian), media, 0, 9)[0] == 206
    mark = consent.standing(cast.enrolment).mark
    consent.give(cast.enrolment, cast.guardian, RECORDINGS, mark)
    assert ask(player, media, 2000, 2999) == (206, CONTENT[2000:3000])
    seen(f"from a {place}: 206, withdrawn, {status} with a sentence; pupil and guardian 206")


@pytest.mark.fault(34, "a guardian is unlinked while playing", "404 at the next Range and page")
def test_an_unlinked_guardian_gets_404_at_once(cast, place, media, seen):
    player = as_person(cast.guardian)
    assert ask(player, media, 0, 999)[0] == 206
    GuardianLink.objects.filter(guardian=cast.guardian).update(ended_on=timezone.localdate())
    status, _ = ask(player, media, 1000, 1999)
    others = [
        media.removesuffix("media/"),
        f"/children/{cast.enrolment.pk}/",
        f"/consent/{cast.enrolment.pk}/",
        f"/consent/{cast.enrolment.pk}/recordings/",
    ]
    pages = {player.get(address).status_code for address in others}
    assert (status, pages) == (404, {404})
    seen(f"from a {place}: 206, unlinked, {status}; {len(others)} pages 404")
