"""What the sound picture is drawn from: the whole clip in little, and its parts when asked for."""

import base64
import gzip
import json
from itertools import accumulate

import pytest
from django.urls import reverse

from studio.clips.models import Rendition
from studio.clips.storage import spool
from studio.review.web.desk.document import COARSE_PAIRS, LOST, PART_S
from tests.cast import as_person, make_clip
from tests.review.heard_clip import heard_clip, listen_again, measurement
from tests.review.long_clip import DURATION_S, EVENTS, long_measurement


@pytest.fixture
def clip(cast):
    return heard_clip(cast.enrolment)


def get(cast, clip, part: int | None = None) -> dict:
    more = [] if part is None else [part]
    name = "desk_picture" if part is None else "desk_picture_part"
    answer = as_person(cast.teacher).get(reverse(name, args=[clip.pk, *more]))
    assert answer.status_code == 200
    return answer.json()


def cents_of(part: dict) -> list[list[int | None]]:
    """The tracks of a part, unpacked as its description says."""
    values = accumulate(base64.b64decode(part["cents"]))
    signed = [(value + 128) % 256 - 128 for value in values]
    found = []
    for *_, count in part["tracks"]:
        held, signed = signed[:count], signed[count:]
        found.append([None if value == LOST else value for value in held])
    assert signed == []
    return found


def outline(clip, tmp_path, count: int, settings) -> None:
    """An outline with one pair for each hundredth of a second, as media writes it."""
    settings.MEDIA_ROOT = tmp_path / "media"
    levels = []
    rate, pairs = 100.0, count
    while True:
        data = bytes(n % 100 for n in range(2 * pairs))
        encoded = base64.b64encode(data).decode()
        levels.append({"per_second": rate, "count": pairs, "data": encoded})
        if pairs < 256:
            break
        rate, pairs = rate / 4, -(-pairs // 4)
    part = spool.bench_path(".json")
    part.write_text(json.dumps({"version": 1, "duration_s": count / 100, "levels": levels}))
    stored = spool.keep(spool.finished(part), f"{spool.clip_folder(clip.pk)}/peaks.json")
    Rendition.objects.create(
        clip=clip,
        kind="peaks",
        path=stored.path,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        content_type="application/json",
    )


def test_the_upper_voice_is_lifted_by_the_deviation(cast, clip):
    document = get(cast, clip)
    events = document["events"]
    assert document["duration_s"] == 64.0
    first = events["kinds"].index("d")
    before = sum(events["voices"][:first])
    assert events["lifts"][before : before + 2] == [0, 400]
    assert list(accumulate(events["starts"]))[first] == 4000
    assert events["names"][events["named"][first]] == "octave C4–C5"
    assert (events["tolerances"][first], events["verdicts"][first]) == (15.0, "o")


def test_columns_hold_one_entry_an_event_and_a_voice(cast, clip):
    events = get(cast, clip)["events"]
    heard = measurement()["events"]
    for name in ("ids", "starts", "lengths", "kinds", "verdicts", "tolerances", "named", "voices"):
        assert len(events[name]) == len(heard), name
    voices = sum(len(event["voices"]) for event in heard)
    assert sum(events["voices"]) == len(events["midis"]) == len(events["lifts"]) == voices
    assert len(events["offsets"]) == 2 * voices
    assert sorted(accumulate(events["ids"])) == [event["id"] for event in heard]


def test_a_part_holds_the_tracks_of_the_events_that_begin_in_it(cast, clip):
    part = get(cast, clip, 0)
    lost = [cents for cents in cents_of(part) if cents != [0, 1, None, -1]]
    assert lost == []
    events = [track[0] for track in part["tracks"]]
    assert sorted(set(events)) == [event["id"] for event in measurement()["events"]]
    assert part["tracks"][0][2:] == [2600, 50, 4]
    assert get(cast, clip, 1)["tracks"] == []


def test_a_track_is_whole_cents_and_stays_at_the_edge(cast):
    stored = measurement()
    stored["events"][0]["voices"][0]["track"]["cents"] = [200.4, -300.0, 12.6, None, -128.0]
    clip = make_clip(cast.enrolment, has_audio=True)
    listen_again(clip, stored)
    assert cents_of(get(cast, clip, 0))[0] == [127, -127, 13, None, -127]


def test_there_is_no_part_after_the_last(cast, clip):
    address = reverse("desk_picture_part", args=[clip.pk, 2])
    assert as_person(cast.teacher).get(address).status_code == 404


def test_what_is_not_heard_has_no_events(cast):
    clip = make_clip(cast.enrolment, has_audio=True)
    document = get(cast, clip)
    assert document["events"]["ids"] == []
    assert document["outline"] is None
    assert get(cast, clip, 0) | {"schema": 2} == {
        "schema": 2,
        "part": 0,
        "tracks": [],
        "cents": "",
        "outline": None,
    }


def test_a_short_clips_outline_comes_whole(cast, clip, settings, tmp_path):
    outline(clip, tmp_path, COARSE_PAIRS, settings)
    assert get(cast, clip)["outline"]["levels"][0]["per_second"] == 100.0
    assert get(cast, clip, 0)["outline"] is None


def test_a_long_clips_fine_outline_comes_by_parts(cast, clip, settings, tmp_path):
    outline(clip, tmp_path, 6400, settings)
    whole = get(cast, clip)["outline"]
    assert [level["per_second"] for level in whole["levels"]] == [25.0, 6.25, 1.5625]
    last = get(cast, clip, 1)["outline"]
    assert (last["first"], last["count"]) == (100 * PART_S, 400)
    assert base64.b64decode(last["data"])[:3] == bytes(n % 100 for n in (12000, 12001, 12002))


def test_a_damaged_outline_keeps_nobody_from_the_ledger(cast, clip, settings, tmp_path):
    outline(clip, tmp_path, 500, settings)
    path = Rendition.objects.get(clip=clip).path
    (settings.MEDIA_ROOT / path).write_bytes(b"not an outline")
    assert get(cast, clip)["outline"] is None
    (settings.MEDIA_ROOT / path).unlink()
    assert get(cast, clip)["outline"] is None


def test_two_thousand_events_travel_in_a_few_kilobytes(cast):
    clip = make_clip(cast.enrolment, has_audio=True, duration_s=DURATION_S)
    listen_again(clip, long_measurement(EVENTS, DURATION_S))
    client = as_person(cast.teacher)
    page = client.get(f"/clips/{clip.pk}/", headers={"accept-encoding": "gzip"})
    whole = client.get(f"/clips/{clip.pk}/desk.json", headers={"accept-encoding": "gzip"})
    part = client.get(f"/clips/{clip.pk}/desk/parts/3.json", headers={"accept-encoding": "gzip"})
    assert len(page.content) < 140_000
    assert len(whole.content) < 20_000
    assert len(part.content) < 10_000
    assert len(json.loads(gzip.decompress(whole.content))["events"]["ids"]) == EVENTS
