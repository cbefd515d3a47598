"""Ranges as in RFC 9110, section 14.1.2 (its examples are for a file of 10,000 bytes)."""

import pytest

from studio.clips.storage import ranges

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


# -- cases of another project's tests --------------------------------------------------------
#
# The Go Authors, net/http, fs_test.go (ServeFileRangeTests and TestServeContent), read at commit
# 061efaa8a761458eaa41119ffd59033738cf141c. For a file of 11 bytes; in their words a range is
# [start, end). Not taken: cases of Last-Modified, which is never sent here; weak tags of the file
# itself, which has strong ones; an empty file, which is never stored.
GO_SIZE = 11


@pytest.mark.parametrize(
    ("header", "start", "end"),
    [
        ("bytes=0-4", 0, 5),
        ("bytes=2-", 2, 11),
        ("bytes=-5", 6, 11),
        ("bytes=3-7", 3, 8),
        ("bytes=5-1000", 5, 11),
        ("bytes=0-9", 0, 10),
        ("bytes=0-10", 0, 11),
        ("bytes=0-11", 0, 11),
        ("bytes=10-11", 10, 11),
        ("bytes=10-", 10, 11),
    ],
)
def test_one_range_as_in_net_http(header, start, end):
    assert ranges.parse(header, GO_SIZE) == (start, end - 1)


# There several ranges come as parts, but for a wasteful request; here always as the whole file.
@pytest.mark.parametrize(
    "header", ["bytes=0-0,-2", "bytes=0-1,5-8", "bytes=0-1,5-", "bytes=0-,1-,2-,3-,4-"]
)
def test_several_ranges_mean_the_whole_file(header):
    assert ranges.parse(header, GO_SIZE) is None


@pytest.mark.parametrize(
    "header",
    [
        *("bytes=11-", "bytes=11-12", "bytes=12-12", "bytes=11-100", "bytes=12-100"),
        *("bytes=100-", "bytes=100-1000"),
    ],
)
def test_what_net_http_cannot_satisfy(header):
    with pytest.raises(ranges.Unsatisfiable):
        ranges.parse(header, GO_SIZE)


@pytest.mark.parametrize("method", ["get", "head"])
@pytest.mark.parametrize(
    ("headers", "status", "content_range"),
    [
        ({"If-None-Match": '"abc"'}, 304, None),
        ({"If-None-Match": '"baz", W/"abc"'}, 304, None),
        ({"If-None-Match": '"Abc"'}, 200, None),
        ({"If-None-Match": ","}, 200, None),
        ({"Range": "bytes=0-4"}, 206, "bytes 0-4/100"),
        ({"Range": "bytes=0-4", "If-Range": '"abc"'}, 206, "bytes 0-4/100"),
        ({"Range": "bytes=0-4", "If-Range": 'W/"abc"'}, 200, None),
        ({"Range": "bytes=100-200"}, 416, "bytes */100"),
        ({"Range": "bytes=0-4", "If-Range": '"B"'}, 200, None),
        ({"Range": "bytes=0-4", "If-Range": "Wed, 25 Jun 2014 17:12:19 GMT"}, 200, None),
        ({"If-Match": '"Z", "abc"'}, 200, None),
        ({"If-Match": "*"}, 200, None),
        ({"If-Match": '"B"'}, 412, None),
        ({"If-Match": 'W/"abc"'}, 412, None),
        # Not theirs: RFC 9110, section 13.2.2, asks If-None-Match before Range.
        ({"Range": "bytes=0-4", "If-None-Match": '"abc"'}, 304, None),
    ],
)
def test_conditions_as_in_net_http(rf, method, headers, status, content_range):
    request = getattr(rf, method)("/", headers=headers)
    response = ranges.serve(request, read, 100, "video/mp4", "abc")
    assert (response.status_code, response.get("Content-Range")) == (status, content_range)
    if status in (304, 412):
        assert not response.streaming
        assert response.content == b""
    if status in (200, 206, 304):
        assert response["ETag"] == '"abc"'


@pytest.mark.parametrize(
    ("header", "span"),
    [
        ("bytes=0-" + "9" * 5000, (0, SIZE - 1)),
        ("bytes=-" + "9" * 5000, (0, SIZE - 1)),
        ("bytes=²-³", None),
        ("bytes=٣-٤", None),
        ("bytes=" + "9" * 5000 + "-1", None),
    ],
)
def test_numbers_of_any_length_and_odd_digits_are_no_fault(header, span):
    assert ranges.parse(header, SIZE) == span


def test_a_beginning_beyond_any_file_is_beyond_this_one():
    with pytest.raises(ranges.Unsatisfiable):
        ranges.parse("bytes=" + "9" * 5000 + "-", SIZE)
