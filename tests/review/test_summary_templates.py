"""A teacher's templates of summaries: hers alone, filled in for a clip, sent by nobody but her."""

import pytest

from studio.review import summary_templates
from studio.review.models import Review, SummaryTemplate
from studio.review.summary_templates import Full, filled
from tests.cast import as_person, make_clip, make_drill, set_for
from tests.review.heard_clip import listen_again, measurement

PAGE = "/summary-templates/"
KNOWN = {"pupil": "Mira", "title": "Octaves", "better": "It came closer.", "next": ""}


def test_places_are_filled_gaps_wait_and_other_braces_stay():
    one = filled("Long", "{pupil}: {better} {dawn} Next: {next}. {} {Pupil}", KNOWN)
    assert one.text == "Mira: It came closer. {dawn} Next: …. {} {Pupil}"
    assert (one.gaps, one.unknown) == (("next",), ("dawn", "", "Pupil"))
    braces = KNOWN | {"title": "{next}"}
    assert filled("T", "{title}", braces).text == "{next}", "a title is no template"


def test_at_the_desk_it_speaks_of_this_clip_and_keeps_nothing(cast):
    clip = make_clip(cast.enrolment, "Octaves, third week", has_audio=True, duration_s=26.0)
    listen_again(
        clip, measurement((("C4", 1.6, (0.5,)), ("D4", 7.6, (0.5,)), ("E4", 13.6, (0.4,))), 26.0)
    )
    review = Review.objects.get(clip=clip)
    drill = make_drill(cast.teacher, cast.studio, "Sixths, slowly")
    review.drills_set.add(set_for(cast.enrolment, drill, published=False))
    summary_templates.add(cast.teacher, cast.studio, "Mine", "{pupil}, “{title}”. {better} {next}!")
    address = f"/clips/{clip.pk}/desk/templates/"
    (row,) = as_person(cast.teacher).get(address).context["rows"]
    assert row.text.startswith("Mira, “Octaves, third week”. ")
    assert row.text.endswith("“Sixths, slowly”!")
    assert (row.gaps, row.unknown) == ((), ())
    assert Review.objects.get(clip=clip).summary == ""
    theirs = as_person(cast.colleague).get(address).context["rows"]
    assert [one.name for one in theirs] == [name for name, _text in summary_templates.STARTERS]


def test_ours_to_begin_with_become_hers_once(cast):
    client = as_person(cast.teacher)
    assert "A short answer" in client.get(PAGE).text
    for _ in range(2):
        assert client.post(PAGE, {"way": "begin"}).status_code == 302
    assert SummaryTemplate.objects.filter(author=cast.teacher).count() == 3


def test_an_unknown_place_is_kept_as_typed_and_said(cast):
    said = {"name": "Mine", "text": "{better} {dawn}"}
    answer = as_person(cast.teacher).post(PAGE, said, follow=True)
    assert "{dawn} is not filled in: it stays as you typed it." in answer.text
    assert SummaryTemplate.objects.get().text == said["text"]


def test_a_name_is_one_template_and_there_are_so_many_at_most(cast, monkeypatch):
    monkeypatch.setattr(summary_templates, "MOST", 2)
    for name in ("One", "Two", "Two"):
        summary_templates.add(cast.teacher, cast.studio, name, "Well done.")
    with pytest.raises(Full, match="2 templates already"):
        summary_templates.add(cast.teacher, cast.studio, "Three", "Well done.")
    second = SummaryTemplate.objects.get(name="Two")
    answer = as_person(cast.teacher).post(f"{PAGE}{second.pk}/", {"name": "One", "text": "x"})
    assert answer.status_code == 422
    assert "Another template has this name" in answer.text
