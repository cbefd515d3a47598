"""Files are whole or absent."""

import hashlib

import pytest

from studio.clips.storage import spool
from studio.clips.storage.stores import store


@pytest.fixture(autouse=True)
def media_root(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def left_over(media_root):
    return [path for path in media_root.rglob("*") if path.is_file()]


def test_a_stream_is_spooled_with_its_hash_and_size():
    spooled = spool.spool([b"ab", b"cd"], limit_bytes=4)
    assert spooled.sha256 == hashlib.sha256(b"abcd").hexdigest()
    assert spooled.size_bytes == 4
    assert spooled.path.read_bytes() == b"abcd"


def test_one_byte_over_the_limit_is_refused_and_nothing_is_kept(media_root):
    with pytest.raises(spool.TooLarge, match="more than 4 bytes"):
        spool.spool([b"abcd", b"e"], limit_bytes=4)
    assert left_over(media_root) == []


def test_a_connection_that_breaks_leaves_nothing(media_root):
    def breaks():
        yield b"abc"
        raise ConnectionResetError("gone")

    with pytest.raises(ConnectionResetError):
        spool.spool(breaks(), limit_bytes=100)
    assert left_over(media_root) == []


def test_a_made_file_is_kept_whole_and_leaves_the_bench(media_root):
    made = spool.bench_path(".wav")
    made.write_bytes(b"sound")
    stored = spool.keep(spool.finished(made), "clips/aa/x/sound.wav")
    assert left_over(media_root) == [media_root / "clips/aa/x/sound.wav"]
    assert stored.sha256 == hashlib.sha256(b"sound").hexdigest()
    assert b"".join(store().read(stored.path, 1, 3)) == b"oun"


def test_removing_the_last_file_removes_its_empty_folders(media_root):
    stored = spool.keep(spool.spool([b"x"], 10), "clips/aa/x/original")
    spool.remove(stored.path)
    spool.remove(stored.path)
    assert not (media_root / "clips").exists()
