"""Who presses "End" a second time, or in a second tab, reads that it has ended, and goes on."""

import pytest
from django.urls import reverse

from studio.accounts.models import GuardianLink, Membership
from tests.cast import as_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def endings(cast) -> dict[str, tuple[str, str]]:
    """Each address that ends something, and who is named."""
    link = GuardianLink.objects.get(guardian=cast.guardian)
    colleague = Membership.objects.get(person=cast.colleague)
    return {
        "guardian_unlink": (reverse("guardian_unlink", args=[link.pk]), "Edda Sandholm"),
        "place_end": (reverse("place_end", args=[cast.enrolment.pk]), "Mira Sandholm"),
        "membership_end": (reverse("membership_end", args=[colleague.pk]), "Colleague"),
    }


@pytest.mark.parametrize("name", ["guardian_unlink", "place_end", "membership_end"])
def test_a_second_press_says_that_it_has_ended(cast, endings, name):
    address, who = endings[name]
    teacher = as_person(cast.teacher)
    assert teacher.post(address).status_code == 302
    teacher.get("/people/")
    for press in (teacher.post, teacher.get):
        assert press(address).url == "/people/"
        page = teacher.get("/people/").text
        assert who in page
        assert "already, on" in page
    assert as_person(cast.foreign_teacher).post(address).status_code == 404
    assert as_person(cast.pupil).post(address).status_code == 404
