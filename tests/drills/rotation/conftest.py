from datetime import date, timedelta

import pytest
from django.utils import timezone

from studio.drills.rotation import access, services
from studio.drills.rotation.models import Rotation

SOON = timedelta(days=3)


def soon() -> date:
    """The day of the first lesson in these tests."""
    return timezone.localdate() + SOON


@pytest.fixture
def rotation(cast) -> Rotation:
    """Mira's plan, as it is begun by her teacher."""
    services.begin(cast.enrolment, cast.teacher, soon())
    return access.rotation_of(cast.enrolment)
