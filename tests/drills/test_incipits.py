"""Beginnings that were drawn before there were signs are brought up to date."""

from importlib import import_module

import pytest
from django.apps import apps

from studio.drills.models import DrillVersion
from studio.drills.services import add_drill
from studio.notation import Request, generate
from tests.cast import make_drill

draw_anew = import_module("studio.drills.migrations.0004_incipits_with_accidentals").draw_anew


@pytest.mark.django_db
def test_a_stored_beginning_is_drawn_anew_with_its_accidentals(cast):
    score = generate(Request(key="A minor", manner="together", direction="down"))
    drill = add_drill(cast.studio, cast.teacher, title="Old", words="", score=score.to_dict())
    make_drill(cast.teacher, cast.studio, "In words only")
    now = drill.newest().incipit
    assert "E262" not in now  # the way down of A minor has no sign
    harmonic = generate(Request(key="A minor", manner="together", minor="harmonic"))
    version = drill.newest()
    version.score = harmonic.to_dict()
    version.save(update_fields=["score"])
    draw_anew(apps, None)
    drawn = DrillVersion.objects.get(pk=version.pk).incipit
    # The raised seventh in both octaves, up and down: the beginning has all of it.
    assert drawn.count('href="#E262') == 4
    assert not DrillVersion.objects.exclude(drill=drill).exclude(incipit="").exists()
