"""A batch at once: looked through in a row, returned together, each with its own words."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from studio.accounts.models import Consent
from studio.clips.models import Clip
from studio.review import comments, phrases
from studio.review.comments import CommentText
from studio.review.enclosures import dispatch
from studio.review.models import Comment, EnclosedFile, Enclosure, Return, Review
from studio.review.returning import services, summaries
from studio.review.returning.summaries import Said
from studio.review.waiting import triage
from tests.cast import Cast, as_person, make_clip, make_drill, set_for
from tests.review.heard_clip import PLAYED, listen_again, measurement, review_of
from tests.review.quiet_clips import ADDRESS, IN_TUNE, quiet_clip, titles
from tests.review.replies import comment as send_comment

MOST_QUERIES_A_CLIP = 45  # of returning it; looking takes a fixed number


@pytest.fixture(autouse=True)
def folder(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setattr(dispatch, "send", lambda *args: True)


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


def sent(client, *clips: Clip, **words: str) -> dict:
    """What the page's form sends of some clips; ``words`` by field, ``{n}`` for the n-th clip."""
    rows = {row.review.clip_id: row for row in client.get(ADDRESS).context["rows"]}
    data: dict = {"clip": [clip.pk.hex for clip in clips]}
    for n, clip in enumerate(clips):
        data[f"seen-{clip.pk.hex}"] = rows[clip.pk].seen
        data[f"summary-{clip.pk.hex}"] = words.get(f"summary_{n}", "")
        data[f"example-{clip.pk.hex}"] = words.get(f"example_{n}", "")
    return data


# -- which clips ---------------------------------------------------------------------------------


def test_the_batch_has_what_has_no_mark_no_question_and_nothing_said(cast, teacher):
    now = timezone.now()
    quiet_clip(cast.enrolment, "Later", created_at=now)
    quiet_clip(cast.enrolment, "Sooner", created_at=now - timedelta(days=2))
    quiet_clip(cast.enrolment, "Asks", note="Is my thumb right?")
    listen_again(make_clip(cast.enrolment, "Marked", has_audio=True), measurement(PLAYED))
    make_clip(cast.enrolment, "Not heard yet")
    said = review_of(quiet_clip(cast.enrolment, "Begun"))
    comments.add_comment(said, cast.teacher, CommentText("bow", "Less", 1.0))
    rests = review_of(quiet_clip(cast.enrolment, "Rests"))
    triage.snooze(rests, now + timedelta(days=1))
    triage.take(review_of(quiet_clip(cast.enrolment, "Hers")), cast.colleague)
    still = quiet_clip(cast.enrolment, "Cannot be played")
    still.stages.filter(kind="playback").update(state="working")
    assert titles(teacher) == ["Sooner", "Later"]
    page = teacher.get("/waiting/").content.decode()
    assert "Look through 2 clips in a row" in page


def test_facts_stand_with_each(cast, teacher):
    clip = quiet_clip(cast.enrolment)
    drill = make_drill(cast.teacher, cast.studio, "Slow octaves")
    Review.objects.filter(clip=clip).update(answers=set_for(cast.enrolment, drill, goal="Even"))
    page = teacher.get(ADDRESS).content.decode()
    assert "2 double stops heard, no mark." in page
    assert "For “Slow octaves”. Goal: Even" in page


# -- returning -----------------------------------------------------------------------------------


def test_each_is_returned_with_its_own_words_and_one_without_stays(cast, teacher):
    cast.studio.return_delay_min = 10
    cast.studio.save()
    one, two, three = (quiet_clip(cast.enrolment, name) for name in ("One", "Two", "Three"))
    data = sent(teacher, one, two, three, summary_0="Well held.", summary_2="Slower bow.")
    answer = teacher.post(ADDRESS, data, follow=True)
    assert 'class="messages"' not in answer.content.decode(), "one line says it"
    assert [row.review.clip for row in answer.context["rows"]] == [two]
    found = {r.review.clip_id: r for r in Return.objects.all()}
    assert {pk: r.snapshot["summary"] for pk, r in found.items()} == {
        one.pk: "Well held.",
        three.pk: "Slower bow.",
    }
    assert not any(r.is_visible for r in found.values()), "the studio's delay holds"
    assert found[one.pk].site == "http://testserver"
    assert "Well held." not in as_person(cast.pupil).get(f"/clips/{one.pk}/").content.decode()
    said = "2 returned clips can still be taken back, the last to Mira Sandholm."
    assert said in answer.content.decode()
    teacher.post(f"/clips/{one.pk}/return/take-back/")
    assert review_of(one).state == "open"
    assert titles(teacher) == ["One", "Two"]
    assert teacher.get(ADDRESS).context["rows"][0].summary == "Well held."


def test_the_same_press_twice_returns_once(cast, teacher):
    data = sent(teacher, quiet_clip(cast.enrolment), summary_0="Well held.")
    for _ in range(2):
        answer = teacher.post(ADDRESS, data, follow=True)
        assert "1 clip returned" in answer.content.decode()
    assert Return.objects.count() == 1


def test_nothing_written_returns_nothing(cast, teacher):
    answer = teacher.post(ADDRESS, sent(teacher, quiet_clip(cast.enrolment)), follow=True)
    assert "no clip has a summary yet" in answer.content.decode()
    assert not Return.objects.exists()


def withdraw(cast: Cast, clip: Clip) -> None:
    Consent.objects.update(withdrawn_at=timezone.now())


def take(cast: Cast, clip: Clip) -> None:
    triage.take(review_of(clip), cast.colleague)


def rest(cast: Cast, clip: Clip) -> None:
    triage.snooze(review_of(clip), timezone.now() + timedelta(days=1))


def hear_marks(cast: Cast, clip: Clip) -> None:
    listen_again(clip, measurement(PLAYED))


def hear_the_same(cast: Cast, clip: Clip) -> None:
    listen_again(clip, measurement(IN_TUNE))


def comment_on(cast: Cast, clip: Clip) -> None:
    comments.add_comment(review_of(clip), cast.colleague, CommentText("bow", "Less", 1.0))


def return_it(cast: Cast, clip: Clip) -> None:
    services.return_clip(review_of(clip), cast.colleague, "Hers")


@pytest.mark.parametrize(
    ("meanwhile", "sentence"),
    [
        (withdraw, "was withdrawn on"),
        (take, "has taken it in the meantime."),
        (rest, "It was put to rest in the meantime."),
        (hear_marks, "2 marks were found in the meantime. Open it at the desk."),
        (hear_the_same, "listened to again, in the meantime. Look at it again."),
        (comment_on, "It was changed at the desk"),
        (return_it, "in the meantime, with other words."),
    ],
)
def test_what_changed_meanwhile_is_left_out_with_a_sentence_and_its_words(
    cast, teacher, meanwhile, sentence
):
    clip = quiet_clip(cast.enrolment)
    data = sent(teacher, clip, summary_0="My own words")
    meanwhile(cast, clip)
    before = Return.objects.count()
    answer = teacher.post(ADDRESS, data)
    assert answer.status_code == 409
    page = answer.content.decode()
    assert sentence in page
    assert "1 clip was not returned" in page
    assert "My own words" in page
    assert Return.objects.count() == before


def test_the_others_are_returned_all_the_same(cast, teacher):
    one, two = quiet_clip(cast.enrolment, "One"), quiet_clip(cast.enrolment, "Two")
    data = sent(teacher, one, two, summary_0="Well held.", summary_1="Slower bow.")
    hear_the_same(cast, two)
    answer = teacher.post(ADDRESS, data)
    assert answer.status_code == 409
    assert [r.review.clip for r in Return.objects.all()] == [one]
    again = {f"summary-{two.pk.hex}": answer.context["rows"][0].summary}
    answer = teacher.post(ADDRESS, sent(teacher, two) | again, follow=True)
    assert review_of(two).summary == "Slower bow."


def test_what_is_not_hers_is_not_there(cast, teacher):
    clip = quiet_clip(cast.foreign_enrolment)
    data = {"clip": clip.pk.hex, f"summary-{clip.pk.hex}": "Mine now", f"seen-{clip.pk.hex}": "0.1"}
    answer = teacher.post(ADDRESS, data)
    assert answer.status_code == 409
    assert "It is no longer there." in answer.content.decode()
    assert "In tune" not in answer.content.decode()
    assert not Return.objects.exists()


def test_its_address_of_before_leads_there_for_good(cast, teacher):
    answer = teacher.get("/waiting/pile/")
    assert (answer.status_code, answer.url) == (301, ADDRESS)
    assert as_person(cast.pupil).get("/waiting/pile/").status_code == 404


def test_a_summary_is_not_longer_than_at_the_desk(cast, teacher):
    answer = teacher.post(ADDRESS, sent(teacher, quiet_clip(cast.enrolment), summary_0="x" * 4001))
    assert "4001 letters; at most 4000" in answer.content.decode()
    assert answer.context["rows"][0].summary == "x" * 4001
    assert not Return.objects.exists()


# -- what she says often -------------------------------------------------------------------------


def said(text: str, pupil_id: int = 1, name: str = "Mira", kind: str = "P8") -> Said:
    return Said(text, pupil_id, name, kind)


def offers(written, shelf=(), **of) -> list[tuple[str, int, int]]:
    of = {"pupil_id": 1, "first_name": "Mira", "kind": "P8"} | of
    found = summaries.offered_sentences(summaries.counted_sentences(written), shelf, **of)
    return [(offer.text, offer.times, offer.to_pupil) for offer in found]


def test_what_is_said_most_to_this_pupil_of_this_kind_comes_first():
    written = [
        said("Well done, Mira. Slower bow."),
        said("Well done, Jonas!\nSlower bow.", 2, "Jonas", "6"),
        said("Slower bow.", 1, "Mira", "6"),
        said("Even fingers.", 1, "Mira", "P8"),
        said("Even fingers.", 1, "Mira", "P8"),
    ]
    assert offers(written)[:2] == [("Even fingers.", 2, 2), ("Slower bow.", 3, 2)]
    assert offers(written, kind="6")[0] == ("Slower bow.", 3, 2)


def test_a_name_is_a_place_where_a_pupil_is_addressed():
    written = [said("Well done, Mira."), said("Well done, Jonas.", 2, "Jonas")]
    found = offers(written, pupil_id=3, first_name="Lea")
    assert found == [("Well done, Lea.", 2, 0)]
    assert summaries.sentences("Mark the shifts, Mark.", "Mark") == ["Mark the shifts, {pupil}."]


def test_what_was_said_to_one_pupil_alone_is_offered_for_that_one_alone():
    written = [said("I hope the operation went well."), said("I hope the operation went well.")]
    assert offers(written) == [("I hope the operation went well.", 2, 2)]
    assert offers(written, pupil_id=2, first_name="Jonas") == []


def test_own_phrases_follow_where_they_need_no_mark():
    shelf = ["Slower bow.", "The {interval} was {side}.", "Breathe, {pupil}."]
    found = offers([said("Slower bow.")], shelf)
    assert found == [("Slower bow.", 1, 1), ("Breathe, Mira.", 0, 0)]


def test_the_page_offers_what_this_teacher_said_in_this_studio(cast, teacher):
    first = quiet_clip(cast.enrolment, "Before")
    services.return_clip(review_of(first), cast.teacher, "Well held, Mira.")
    other = quiet_clip(cast.enrolment, "Hers")
    services.return_clip(review_of(other), cast.colleague, "Only she says this.")
    phrases.add(cast.teacher, cast.studio, "bow", "More weight")
    quiet_clip(cast.enrolment, "Now")
    row = teacher.get(ADDRESS).context["rows"][0]
    assert [offer.text for offer in row.offers] == ["Well held, Mira.", "More weight"]


# -- recorded examples ---------------------------------------------------------------------------


@pytest.fixture
def recorded(cast, teacher, voice) -> Enclosure:
    """A voice reply that the teacher recorded with an earlier clip."""
    earlier = make_clip(cast.enrolment, "Earlier", has_audio=True, note="How?")
    send_comment(teacher, earlier, voice, text="Lean the elbow in")
    Enclosure.objects.update(state="ready")
    return Enclosure.objects.get()


def test_a_recorded_example_goes_along_as_a_copy(cast, teacher, recorded):
    other = cast.other_enrolment
    clip = quiet_clip(other, "Jonas plays")
    row = teacher.get(ADDRESS).context["rows"][0]
    assert [example.pk for example in row.examples] == [recorded.pk]
    data = sent(teacher, clip, summary_0="Listen.", example_0=str(recorded.pk))
    assert teacher.post(ADDRESS, data, follow=True).status_code == 200
    made = Comment.objects.get(review__clip=clip)
    assert (made.text, made.kind, made.start_s) == ("", "bow", 0.0)
    copy = made.enclosures.get()
    assert copy.pk != recorded.pk
    files = EnclosedFile.objects.filter(enclosure__in=(copy, recorded), kind="original")
    assert len({file.path for file in files}) == 2
    assert len({file.sha256 for file in files}) == 1
    enclosed = Return.objects.get().snapshot["moments"][0]["enclosures"]
    assert [each["id"] for each in enclosed] == [str(copy.pk)]
    # The same recording, sent twice, is one example; its first words say what it is.
    copy.state = "ready"
    copy.save()
    quiet_clip(other, "Once more")
    (example,) = teacher.get(ADDRESS).context["rows"][0].examples
    assert (example.times, example.words) == (2, "Lean the elbow in")


def test_an_example_alone_is_not_returned_and_stays_chosen(cast, teacher, recorded):
    data = sent(teacher, quiet_clip(cast.enrolment), example_0=str(recorded.pk))
    answer = teacher.post(ADDRESS, data)
    assert "Say something with it, or take it off." in answer.content.decode()
    assert answer.context["rows"][0].example == str(recorded.pk)
    assert not Return.objects.exists()


def test_an_example_that_is_gone_keeps_the_clip_back_whole(cast, teacher, recorded):
    clip = quiet_clip(cast.enrolment)
    data = sent(teacher, clip, summary_0="Listen.", example_0=str(recorded.pk))
    comments.delete_comment(recorded.comment)
    answer = teacher.post(ADDRESS, data)
    assert "example is no longer there" in answer.content.decode()
    assert answer.context["rows"][0].summary == "Listen."
    assert not Comment.objects.filter(review__clip=clip).exists()


def test_a_colleagues_recording_is_not_offered_nor_sent(cast, recorded):
    clip, hers = quiet_clip(cast.enrolment), as_person(cast.colleague)
    assert hers.get(ADDRESS).context["rows"][0].examples == []
    data = sent(hers, clip, summary_0="Listen.", example_0=str(recorded.pk))
    assert hers.post(ADDRESS, data).status_code == 409
    assert not Return.objects.exists()


# -- how much it asks of the database --------------------------------------------------------------


def test_the_number_of_queries_does_not_grow_with_the_clips(cast, teacher):
    services.return_clip(review_of(quiet_clip(cast.enrolment, "Before")), cast.teacher, "Good.")
    clips = [quiet_clip(cast.enrolment, "One")]
    teacher.get(ADDRESS)
    with CaptureQueriesContext(connection) as few:
        teacher.get(ADDRESS)
    clips += [quiet_clip(cast.enrolment, f"More {n}") for n in range(9)]
    with CaptureQueriesContext(connection) as more:
        teacher.get(ADDRESS)
    assert len(more) == len(few)
    data = sent(teacher, *clips, **{f"summary_{n}": f"Words {n}." for n in range(10)})
    with CaptureQueriesContext(connection) as returning:
        teacher.post(ADDRESS, data)
    assert Return.objects.count() == 11
    assert len(returning) <= len(few) + 10 * MOST_QUERIES_A_CLIP
