"""Files are whole or absent."""

import hashlib

import pytest

from studio.clips import files


@pytest.fixture(autouse=True)
def media_root(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def left_over(media_root):
    return [path for path in media_root.rglob("*") if path.is_file()]


def test_a_stream_is_stored_with_its_hash_and_size():
    stored = files.store_stream([b"ab", b"cd"], "clips/aa/x", "original", limit_bytes=4)
    assert stored.sha256 == hashlib.sha256(b"abcd").hexdigest()
    assert stored.size_bytes == 4
    assert files.absolute(stored.path).read_bytes() == b"abcd"


def test_one_byte_over_the_limit_is_refused_and_nothing_is_kept(media_root):
    with pytest.raises(files.TooLarge, match="more than 4 bytes"):
        files.store_stream([b"abcd", b"e"], "clips/aa/x", "original", limit_bytes=4)
    assert left_over(media_root) == []


def test_a_connection_that_breaks_leaves_nothing(media_root):
    def breaks():
        yield b"abc"
        raise ConnectionResetError("gone")

    with pytest.raises(ConnectionResetError):
        files.store_stream(breaks(), "clips/aa/x", "original", limit_bytes=100)
    assert left_over(media_root) == []


def test_a_made_part_takes_its_place_and_its_part_name_is_gone(media_root):
    part = files.part_path("clips/aa/x", ".wav")
    part.write_bytes(b"sound")
    stored = files.store_part(part, "clips/aa/x", "sound.wav")
    assert [path.name for path in left_over(media_root)] == ["sound.wav"]
    assert stored.sha256 == hashlib.sha256(b"sound").hexdigest()
