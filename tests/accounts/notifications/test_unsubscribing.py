"""Ending letters by one press in a mail program, as RFC 8058 says it (its sections are named)."""

import email
import re
from email import policy

import pytest
from django.test import Client

from studio import log_lines
from studio.accounts import invitations, letters, notices, notifications
from studio.accounts.models import NotificationChoice
from studio.accounts.notifications import digest, telling, unsubscribing

MULTIPART, FORM = "multipart/form-data; boundary=BoUnDaRy", "application/x-www-form-urlencoded"
# Section 8.1 and 8.2: what a mail receiver posts.
AS_MULTIPART = (
    '--BoUnDaRy\r\nContent-Disposition: form-data; name="List-Unsubscribe"\r\n\r\n'
    "One-Click\r\n--BoUnDaRy--\r\n"
)
AS_FORM = "List-Unsubscribe=One-Click"


@pytest.fixture
def letter(cast, mail, site):
    """One to the guardian, of two kinds."""
    said = {"about": cast.pupil, "studio": cast.studio, "by": cast.teacher, "path": "/queue/"}
    notifications.tell(cast.guardian, "set", key="a", what="Sixths", **said)
    notifications.tell(cast.guardian, "returned", key="b", **said)
    digest.write_due()
    letters.send_due()
    raw = mail[0].message().as_bytes()
    return email.message_from_bytes(raw, policy=policy.default)


def path_in(letter) -> str:
    (uri,) = re.findall(r"<([^>]*)>", letter["List-Unsubscribe"])
    assert uri.startswith("https://studio.example/")
    return uri.removeprefix("https://studio.example")


def wants(person) -> dict[str, bool]:
    return {name: chosen.by_letter for name, chosen in telling.choices_of(person).items()}


def stranger() -> Client:
    """As a mail receiver: no cookie, no page read before, and held to what CSRF asks."""
    return Client(enforce_csrf_checks=True)


def post(path: str, body: str = AS_FORM, kind: str = FORM):
    return stranger().generic("POST", path, body, content_type=kind)


def test_the_letter_has_both_headers_with_one_https_address(letter):
    """Section 3.1: one HTTPS URI, and in the other header the single pair; both in one line."""
    assert letter["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert letter["List-Unsubscribe"].count("<") == 1
    assert "mailto:" not in letter["List-Unsubscribe"]
    assert path_in(letter).startswith("/letters/off/")


@pytest.mark.parametrize(("body", "kind"), [(AS_FORM, FORM), (AS_MULTIPART, MULTIPART)])
def test_one_post_without_cookies_ends_these_letters_and_no_others(cast, letter, body, kind):
    """Section 3.2: either content type; no cookie and no other context; no redirect (3.1)."""
    answer = post(path_in(letter), body, kind)
    assert answer.status_code == 200
    found = wants(cast.guardian)
    assert (found["set"], found["returned"], found["answered"]) == (False, False, True)
    assert all(chosen.on_page for chosen in telling.choices_of(cast.guardian).values())
    assert wants(cast.pupil)["set"]
    assert post(path_in(letter), body, kind).status_code == 200, "again is as good as once"


@pytest.mark.parametrize("method", ["get", "head"])
def test_who_only_opens_the_link_changes_nothing(cast, letter, method):
    """Section 1: a program that looks at the links of a letter must not end anything."""
    answer = getattr(stranger(), method)(path_in(letter))
    assert answer.status_code == 200
    assert not NotificationChoice.objects.exists()
    if method == "get":
        assert 'name="List-Unsubscribe" value="One-Click"' in answer.text.replace("\n", " ")
        assert cast.guardian.name not in answer.text
        assert cast.pupil.name not in answer.text


@pytest.mark.parametrize(
    "body",
    [
        "",
        "List-Unsubscribe=One-Clic",
        "list-unsubscribe=One-Click",
        "List-Unsubscribe=One-Click&List-Unsubscribe=One-Click",
        "List-Unsubscribe=One-Click&more=1",
    ],
)
def test_another_body_changes_nothing(letter, body):
    """Section 3.1: the header's single key and value are what is posted."""
    assert post(path_in(letter), body).status_code == 400
    assert not NotificationChoice.objects.exists()


def test_each_kind_has_an_address_of_its_own_in_the_letter(cast, letter):
    text = letter.get_content()
    (of_drills,) = re.findall(r"\(A drill is set\):\n\S+?(/letters/\S+)", text)
    assert post(of_drills).status_code == 200
    found = wants(cast.guardian)
    assert (found["set"], found["returned"]) == (False, True)


def test_a_slip_is_taken_back_by_the_page_and_only_from_it(cast, letter):
    browser = stranger()
    page = browser.post(path_in(letter), {"List-Unsubscribe": "One-Click"})
    again = path_in(letter).replace("/off/", "/on/")
    assert f'action="{again}"' in page.text
    assert browser.post(again).status_code == 403, "that one is a page's press, with its token"
    assert browser.get(again).status_code == 405
    token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page.text)[1]
    assert browser.post(again, {"csrfmiddlewaretoken": token}).status_code == 200
    assert wants(cast.guardian)["set"]


def test_nobody_makes_an_address_for_somebody_else(cast, letter):
    """Section 3.2: a component that is hard to forge."""
    token = path_in(letter).rstrip("/").rpartition("/")[2]
    said, _, signature = token.rpartition(":")
    assert len(signature) == 43, "HMAC of SHA-256"
    for forged in (
        f"{cast.pupil.pk}-set:{signature}",
        f"{said}-answered:{signature}",
        f"{said}:{signature[:-1]}",
        said,
    ):
        assert post(f"/letters/off/{forged}/").status_code == 404
    assert not NotificationChoice.objects.exists()


def test_wrong_addresses_have_to_wait_and_right_ones_never(cast, letter):
    found = [post(f"/letters/off/none-{number}:x/").status_code for number in range(35)]
    assert set(found) == {404, 429}
    assert found[-1] == 429
    assert post(path_in(letter)).status_code == 200


def test_what_nobody_can_switch_off_has_no_such_header(cast, mail, site):
    notices.tell_each([cast.pupil], "Your password was changed.")
    invited, secret = invitations.invite(cast.studio, "pupil", "N", "n@n.example", by=cast.teacher)
    letters.post_invitation(invited, f"https://studio.example/invitation/{secret}/")
    letters.send_due()
    heads = [one.message() for one in mail]
    assert len(heads) == 2
    assert not any("List-Unsubscribe" in head for head in heads)
    assert all(head["Auto-Submitted"] == "auto-generated" for head in heads)


def test_without_https_there_is_no_header_and_still_a_link(cast, mail, settings):
    """Section 3.1 asks for an HTTPS URI."""
    settings.CSRF_TRUSTED_ORIGINS = ["http://studio.example"]
    assert unsubscribing.headers(unsubscribing.link(cast.pupil, ["set"])) == {}


def test_no_log_gets_the_address(letter):
    path = path_in(letter)
    assert log_lines.without_secrets(f'"POST {path} HTTP/1.1"') == (
        '"POST /letters/off/*** HTTP/1.1"'
    )
    on = path.replace("/off/", "/on/")
    assert log_lines.without_secrets(f"Not Found: {on}") == "Not Found: /letters/on/***"
