"""The forms under a row are written once a kind and filled in; each has its own clip's words."""

from django.utils.html import escape

from studio.review.models import Review
from tests.cast import as_person, make_clip

TITLES = ("<b>Octaves</b> & sixths", "\ue000pupil\ue001 again", "Plain")


def test_each_row_has_its_own_clip_and_names_it(cast):
    clips = [make_clip(cast.enrolment, title) for title in TITLES]
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    for clip in clips:
        assert f'action="/clips/{clip.pk}/take/"' in page
        assert f'id="until-{clip.pk}"' in page
    assert f"{cast.pupil}, {escape(TITLES[0])}</span>" in page
    assert "Take it" in page
    assert f"{cast.pupil}, pupil again</span>" in page
    assert "a55e5b0c" not in page


def test_each_kind_of_row_has_its_own_forms(cast):
    mine, hers, free = (make_clip(cast.enrolment, title) for title in ("Mine", "Hers", "Free"))
    Review.objects.filter(clip=mine).update(taken_by=cast.teacher)
    Review.objects.filter(clip=hers).update(taken_by=cast.colleague)
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    assert f'action="/clips/{mine.pk}/let-go/"' in page
    assert f'action="/clips/{mine.pk}/take/"' not in page
    assert f'name="over" value="{cast.colleague.pk}"' in page
    assert f"Take over from {cast.colleague}" in page
    assert f'action="/clips/{hers.pk}/hand-over/"' not in page
    assert f'action="/clips/{free.pk}/hand-over/"' in page
