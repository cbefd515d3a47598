"""Ranges as in RFC 9110, section 14.1.2 (its examples are for a file of 10,000 bytes)."""

import pytest

from studio.clips import ranges

SIZE = 10_000


@pytest.mark.parametrize(
    ("header", "span"),
    [
        ("bytes=0-499", (0, 499)),
        ("bytes=500-999", (500, 999)),
        ("bytes=-500", (9500, 9999)),
        ("bytes=9500-", (9500, 9999)),
        ("bytes=0-0", (0, 0)),
        ("bytes=9990-20000", (9990, 9999)),
        ("bytes=-20000", (0, 9999)),
    ],
)
def test_examples_of_the_rfc_are_read(header, span):
    assert ranges.parse(header, SIZE) == span


@pytest.mark.parametrize("header", ["bytes=0-0,-1", "lines=1-2", "bytes=5-4", "bytes=-", "bytes"])
def test_what_is_not_one_valid_range_means_the_whole_file(header):
    assert ranges.parse(header, SIZE) is None


@pytest.mark.parametrize("header", ["bytes=10000-", "bytes=10000-10001", "bytes=-0"])
def test_a_range_outside_the_file_cannot_be_satisfied(header):
    with pytest.raises(ranges.Unsatisfiable):
        ranges.parse(header, SIZE)


def read(first, length):
    yield bytes(range(100))[first : first + length]


def get(rf, **headers):
    return ranges.serve(rf.get("/", headers=headers), read, 100, "video/mp4", "abc")


def test_a_range_is_answered_with_206_and_only_those_bytes(rf):
    response = get(rf, Range="bytes=10-19")
    assert response.status_code == 206
    assert response["Content-Range"] == "bytes 10-19/100"
    assert response["Content-Length"] == "10"
    assert b"".join(response.streaming_content) == bytes(range(10, 20))


def test_without_a_range_the_whole_file_comes_and_offers_ranges(rf):
    response = get(rf)
    assert (response.status_code, response["Accept-Ranges"]) == (200, "bytes")
    assert b"".join(response.streaming_content) == bytes(range(100))


def test_beyond_the_end_is_416_with_the_size(rf):
    response = get(rf, Range="bytes=100-")
    assert (response.status_code, response["Content-Range"]) == (416, "bytes */100")


def test_a_range_of_another_version_gets_the_whole_file(rf):
    assert get(rf, Range="bytes=0-9", **{"If-Range": '"older"'}).status_code == 200
    assert get(rf, Range="bytes=0-9", **{"If-Range": '"abc"'}).status_code == 206
