"""Pages come compressed; what is asked for by Range, and what is no text, comes as it is."""

import gzip

import pytest
from django.http import FileResponse, HttpResponse, JsonResponse
from django.test import RequestFactory

from studio.compression import CompressPages
from tests.cast import as_person

GZIP = {"Accept-Encoding": "gzip, deflate, br"}


def answered(response, **headers):
    request = RequestFactory().get("/", headers=headers or GZIP)
    return CompressPages(lambda _: response)(request)


def test_a_page_is_compressed_and_caches_are_told(cast):
    response = as_person(cast.pupil).get("/", headers=GZIP, follow=True)
    assert response["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in response["Vary"]
    page = gzip.decompress(response.content)
    assert page.lstrip().startswith(b"<!DOCTYPE html>")
    assert len(response.content) < len(page) / 2


def test_its_length_differs_from_time_to_time_so_that_it_gives_nothing_away():
    lengths = {len(answered(HttpResponse("a page " * 200)).content) for _ in range(20)}
    assert len(lengths) > 5


def test_a_browser_that_does_not_ask_for_it_gets_the_page_as_it_is():
    plain = answered(HttpResponse("a page " * 200), Accept="*/*")
    assert plain.content == b"a page " * 200


@pytest.mark.parametrize(
    "response",
    [
        HttpResponse(b"\0" * 1000, content_type="video/mp4"),
        HttpResponse(b"\0" * 1000, content_type="image/jpeg"),
        HttpResponse(b"a part " * 100, status=206, content_type="text/plain"),
        FileResponse([b"piece by piece " * 100], content_type="text/plain"),
    ],
    ids=["video", "picture", "part", "stream"],
)
def test_recordings_pictures_and_parts_are_left_alone(response):
    assert not answered(response).has_header("Content-Encoding")


def test_figures_for_a_script_are_compressed():
    assert answered(JsonResponse({"a": [1] * 500}))["Content-Encoding"] == "gzip"
