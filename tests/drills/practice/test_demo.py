"""The demo's practice, as the demo makes it."""

from studio.demo import people, practising
from studio.drills.practice import pages


def test_the_demo_has_a_term_of_short_portions_with_a_gap(db, monkeypatch):
    monkeypatch.setattr(practising, "WEEKS", 10)  # what the others show, these do
    monkeypatch.delitem(practising.USUAL, "ida")
    cast = people.make_studio()
    noted = practising.note(cast)
    picture = pages.term_of(cast.places["jonas"]).picture
    assert len(picture.weeks) >= 7
    gaps = [
        (later.monday - week.monday).days
        for week, later in zip(picture.weeks, picture.weeks[1:], strict=False)
    ]
    assert 7 * (1 + len(practising.FREE)) in gaps
    assert 10 <= picture.usual_min <= 20
    assert cast.teacher.notifications.filter(kind="caution").count() == 1
    assert noted > 30
    assert {one.made_by.name for one in pages.in_short(cast.places["otto"])} == {"Petra Fenn"}
