"""What is said before somebody agrees, to whom, and that every version stays to be read.

Regulation (EU) 2016/679, article 7 (conditions for consent: withdrawing is as easy as giving),
article 13(1) and (2) (purposes, recipients, storage, whom to ask, the right to withdraw), and
article 12(1) (for a child, in clear and plain language a child understands).
"""

import dataclasses
import hashlib
import re

import pytest
from django.utils import timezone

from studio import figures
from studio.accounts import consent, consent_words, retention, retention_words
from studio.accounts.consent_text import text
from studio.accounts.models import Consent
from tests.cast import as_person, make_clip

RECORDINGS = consent.Purpose.RECORDINGS
LONGEST_SENTENCE = 15  # words, for a child of nine; chosen, no source
# Of each version that was shown to anybody, as it was: a change here is a change to what
# somebody agreed to. A new version is a new line.
SHOWN = {
    1: "b16eeb7d0432df23",
    2: "154e167e18f53bcd",
    3: "2ec7ac8d6f096ecd",
}


def words(version: int) -> consent_words.Words:
    found = consent_words.of_version(RECORDINGS, version)
    assert found is not None
    return found


def page(cast, who, query: str = "") -> str:
    return as_person(who).get(f"/consent/{cast.enrolment.pk}/{query}").text


def change(cast, who) -> str:
    return as_person(who).get(f"/consent/{cast.enrolment.pk}/recordings/").text


@pytest.mark.parametrize("version", SHOWN)
def test_what_somebody_agreed_to_stays_as_it_was(version):
    said = repr(dataclasses.astuple(words(version)))
    assert hashlib.sha256(said.encode()).hexdigest()[:16] == SHOWN[version]


def test_every_version_is_in_that_table_and_the_newest_is_asked():
    versions = [one.version for one in consent_words.VERSIONS[RECORDINGS]]
    assert versions == list(range(1, len(SHOWN) + 1))
    assert consent_words.WORDS[RECORDINGS].version == versions[-1]


def test_a_consent_names_the_words_of_today(cast):
    Consent.objects.all().delete()
    mark = consent.standing(cast.enrolment).mark
    given = consent.give(cast.enrolment, cast.guardian, RECORDINGS, mark)
    assert given.version == consent_words.WORDS[RECORDINGS].version


def test_words_that_tell_more_leave_a_consent_standing(cast):
    assert consent.standing(cast.enrolment).given.version == 1
    assert consent.is_given(cast.enrolment)
    assert "It was given to wording 1" in page(cast, cast.guardian)


def test_the_version_that_was_given_can_be_read_again(cast):
    shown = page(cast, cast.guardian)
    given = consent.standing(cast.enrolment).given.pk
    assert f'href="?wording=1&amp;given={given}#wording"' in shown
    assert "Wording 1, as it was" not in shown
    again = page(cast, cast.guardian, "?wording=1")
    assert "Wording 1, as it was" in again
    for section in words(1).to_guardian:
        for line in section.lines:
            assert line in again


@pytest.mark.parametrize("query", ["?wording=99", "?wording=x", "?wording=1&purpose=none"])
def test_a_version_that_never_was_shows_nothing(cast, query):
    assert "as it was" not in page(cast, cast.guardian, query)


def test_a_guardian_reads_purpose_watchers_storage_whom_to_ask_and_how_to_withdraw(cast):
    Consent.objects.all().delete()
    for shown in (page(cast, cast.guardian), change(cast, cast.guardian)):
        for heading in ("What is it for?", "Who may watch and hear?", "How long is it kept?"):
            assert heading in shown
        assert "Mira, or you for Mira, may send practice clips to Larkhill strings" in shown
        assert "Colleague, Ottilie Brandt." in shown
        assert "Ottilie Brandt, or any other teacher of Larkhill strings." in shown
        assert "It holds at once, and you need give no reason." in shown
        assert "The pupil" not in shown


def test_how_long_comes_from_one_module(cast):
    shown = page(cast, cast.guardian)
    for line in retention_words.lines_of(retention.of_studio(cast.studio)):
        assert line in shown


def test_a_guardian_reads_it_with_the_child_in_the_childs_words(cast):
    shown = page(cast, cast.guardian)
    assert "In a child’s words, to read with Mira" in shown
    assert "You can send Ottilie Brandt a film of your practice" in shown


def test_a_child_reads_her_own_words_first(cast):
    shown = page(cast, cast.pupil)
    assert shown.index("You can send Ottilie Brandt a film") < shown.index("What is it for?")
    assert "What your grown-ups read" in shown


def test_a_grown_up_is_asked_as_one(cast):
    Consent.objects.all().delete()
    cast.pupil.birth_year = timezone.localdate().year - 30
    cast.pupil.save()
    shown = change(cast, cast.pupil)
    assert "You may send practice clips to Larkhill strings" in shown
    assert "grown-up" not in shown


def test_a_childs_words_are_short(cast):
    said = text(words(3), cast.enrolment, to_pupil=False).for_child
    sentences = [one for line in said for one in re.split(r"(?<=[.:]) ", line)]
    assert len(sentences) >= 8
    longest = max(sentences, key=lambda sentence: len(sentence.split()))
    assert len(longest.split()) <= LONGEST_SENTENCE, longest


def test_no_name_breaks_the_words(cast):
    cast.studio.name, cast.pupil.name = "Studio {child}", "{0} {nobody}"
    cast.studio.save()
    cast.pupil.save()
    cast.enrolment.refresh_from_db()
    said = text(words(3), cast.enrolment, to_pupil=False)
    assert "{0}, or you for {0}, may send practice clips to Studio {child}" in repr(said)


def test_once_it_is_given_practice_comes_first(cast):
    for who, at in ((cast.pupil, "/queue/"), (cast.guardian, f"/children/{cast.enrolment.pk}/")):
        main = as_person(who).get(at).text.partition("<main")[2]
        assert main.index("Consent for recordings given by") > main.rindex("</h1>")
        assert main.index("Consent for recordings given by") > max(main.rfind("<h2"), 0)


def test_while_it_is_missing_it_comes_first(cast):
    consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS)
    main = (
        as_person(cast.guardian).get(f"/children/{cast.enrolment.pk}/").text.partition("<main")[2]
    )
    assert "was withdrawn by Edda Sandholm" in main
    assert "Consent for Mira" in main


def test_a_withdrawal_is_said_wherever_it_changes_something(cast):
    clip = make_clip(cast.enrolment, "Octaves")
    waiting = as_person(cast.teacher).get("/waiting/").text
    assert "does not hold" not in waiting
    consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS)
    day = figures.long_date(timezone.localdate())
    teacher, pupil, guardian = map(as_person, (cast.teacher, cast.pupil, cast.guardian))
    waiting = teacher.get("/waiting/").text
    assert "clips of <a" in waiting
    assert "consent to recordings does not hold" in waiting
    for page in (f"/clips/{clip.pk}/", f"/pupils/{cast.enrolment.pk}/"):
        assert f"was withdrawn on {day}" in teacher.get(page).text, page
    by = f"Consent for recordings was withdrawn by Edda Sandholm on {day}."
    for page in ("/queue/", "/send/"):
        assert by in pupil.get(page).text, page
    send = f"/children/{cast.enrolment.pk}/send/"
    for page in ("/children/", f"/children/{cast.enrolment.pk}/", send):
        assert by in guardian.get(page).text, page
    for who in (pupil, guardian):
        assert "cannot watch or hear it now" in who.get(f"/clips/{clip.pk}/").text


def test_the_waiting_list_names_no_pupil_of_another_studio(cast):
    make_clip(cast.enrolment, "Octaves")
    consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS)
    assert "Mira" not in as_person(cast.foreign_teacher).get("/waiting/").text
